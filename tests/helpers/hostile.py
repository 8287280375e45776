"""Texts made to harm, what no output may hold, and a take of a score that says them."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path
from typing import Any, NamedTuple

import soundfile
from folders import helper
from lxml import etree

from skeleton.score.reading import read
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz

MARKUP = (
    "</script><script>alert(1)</script><img src=x onerror=alert(2)>\"><svg onload=alert(3)>'"
    '" onmouseover="alert(4) ]]><![CDATA[ --><!-- javascript:alert(5) &lt; &#60; {{7*7}} ${x}'
)
TYPESET = '#eval("1+1") \\u{41} $ x^2 $ `raw` *b* _i_ #include "/etc/passwd" @ref <label> // /* ]'
HOSTILE = f"{MARKUP} {TYPESET}"
TERMINAL = "\u009b2J\u202egnp.\u2066exe\x7f"
"""What XML 1.0 lets through and a terminal or a reader would obey."""

SVG_MAY = {
    "svg", "g", "path", "use", "defs", "symbol", "text", "tspan", "title", "desc", "style", "rect",
    "ellipse", "circle", "line", "polyline", "polygon", "clipPath",
}  # fmt: skip
"""The elements of SVG 2 that a picture of music needs; script, foreignObject, image, a, animate and
set are none of them."""


def check_markup(root: etree._Element, *, allowed: set[str] | None = None) -> None:
    """Nothing in a tree can run a script, or names anything outside."""
    for element in root.iter():
        if not isinstance(element.tag, str):
            continue
        tag = element.tag.rpartition("}")[2]
        assert tag not in {"foreignObject", "iframe", "object", "embed", "base", "form"}
        assert tag != "link" or dict(element.attrib) == {"rel": "icon", "href": "data:,"}
        if allowed is not None:
            assert tag in allowed, tag
        for name, value in element.attrib.items():
            plain = str(name).rpartition("}")[2].lower()
            assert not plain.startswith("on"), (tag, name)
            assert plain not in {"srcdoc", "action", "formaction", "background"}, (tag, name)
            assert plain != "style" or re.fullmatch(r"[\w\s:;.#%-]*", value), value
            if plain in {"href", "src"}:
                inside = ("#", "data:audio/", "data:font/")
                assert tag == "link" or value.startswith(inside), (tag, value[:60])
        if tag == "style":
            assert "expression(" not in (element.text or "")
            addresses = re.findall(r"url\(\s*[\"']?([^)\"']+)", element.text or "")
            assert all(one.startswith("data:font/") for one in addresses), addresses
            assert "@import" not in (element.text or "")


_SILENT = (
    b'<measure number="3"><note><rest/><duration>4</duration><voice>1</voice><type>whole</type>'
    b"</note></measure>"
)
"""A measure whose number a lesson can name, after one whose number it cannot."""


class HostileTake(NamedTuple):
    """The files: score, recording, marks."""

    etude: Path
    sound: Path
    marks: Path

    @property
    def listened(self) -> list[str]:
        """What ``skeleton`` is called with to judge it, its marks aside."""
        pure = "195.5556,293.3333,440,660"
        return ["listen", str(self.etude), str(self.sound), "--strings-hz", pure]


def hostile_take(folder: Path, score: bytes, text: str, *, named: str) -> HostileTake:
    """Write a score of F sharp and G, F sharp and B, and a take of it.

    The first F sharp is 40 cents high and the second 40 low. The file of marks says the text in
    every place that nobody reads, and marks the first note the wrong way. A lesson beside the score
    names a passage so, which is the whole.

    Args:
        folder: where.
        score: of F sharp and G, twice; the last note becomes a B, or both measures sound alike.
        text: what the file of marks and the lesson say.
        named: what the names of all three files begin with.
    """
    tones = helper("audio/violin_tones")
    etude = folder / f"{named}.musicxml"
    head, _, tail = score.rpartition(b"<step>G</step>")
    tail = tail.replace(b"</part>", _SILENT + b"</part>")
    etude.write_bytes(head + b"<step>B</step>" + tail)
    said = json.dumps(text[:190])
    etude.with_suffix(".toml").write_text(
        f'title = {said}\n[[passage]]\nname = {said}\nmeasures = "1-3"\n', encoding="utf-8"
    )
    held = read(etude)
    a_hz = open_string_hz(INSTRUMENTS["violin"])[2]
    g_hz, f_sharp_hz, b_hz = a_hz * 8 / 9, a_hz * 27 / 32, a_hz * 9 / 8  # pure fifths from A
    played = (f_sharp_hz * 2 ** (40 / 1200), g_hz, f_sharp_hz * 2 ** (-40 / 1200), b_hz)
    line = [tones.Tone(hz, 0.5 + 0.8 * at, 1.3 + 0.8 * at) for at, hz in enumerate(played)]
    sound = folder / f"{named}.wav"
    soundfile.write(sound, tones.mixed(line, 5), tones.RATE)
    marks = folder / f"{named}.json"
    saved: dict[str, Any] = {
        "format": 1,
        "etude": hashlib.sha256(held.source.data).hexdigest(),
        text: text,
        "takes": [
            {
                "date": f"2024-05-01{text}",
                "name": text,
                "marks": [{"note": held.parts[0].notes[0].id, "says": "flat", text: text}],
            }
        ],
    }
    marks.write_text(json.dumps(saved), encoding="utf-8")
    return HostileTake(etude, sound, marks)
