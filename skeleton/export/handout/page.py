"""The handout as one HTML file that opens from disk and asks nobody for anything.

It says what the PDF says, in the same order, from the same content and pictures. On top of that
the stages of a passage take turns in one place, each passage has its sounds, a tapped note says
what it is and lights up everywhere it returns, and the listening sheet keeps the listener's marks
by take. Without its script the page is complete, all stages below each other.

What a score or a lesson says is text and nothing else: it is escaped, and the page's own policy
(Content Security Policy Level 3, in a ``<meta>``) runs one script and applies one style sheet,
each named by its hash, and lets nothing be loaded but what the file itself holds and, where they
were too large for it, the sound files beside it.

Marks are kept in the browser and written to and read from a file of this form::

    {"format": 1, "etude": SHA-256 of the score's MusicXML, "takes":
        [{"date": "2026-11-25", "marks": [{"note": id, "says": "flat"|"sharp"|"unsure"}]}]}
"""

from __future__ import annotations

import hashlib
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import asdict
from importlib.resources import files
from string import Template
from typing import Any, Final
from urllib.parse import quote

from skeleton.export.engraving.typeface import BOLD, font_face_css
from skeleton.export.handout.content import Handout
from skeleton.export.handout.markup import Html, json_text
from skeleton.export.handout.page_body import body
from skeleton.export.handout.page_music import Stand
from skeleton.export.handout.page_notes import EtudeSays
from skeleton.export.handout.page_passage import Heard
from skeleton.export.handout.page_sounds import PassageSounds, Sound
from skeleton.export.handout.page_words import PagePhrases
from skeleton.export.handout.pictures import HandoutPictures

_SHOWN_TO_SCRIPT: Final = (
    "outside", "show_match", "next_place", "close", "take_option", "drop_sure", "verdict", "flat",
    "sharp", "unsure", "none", "marked", "match", "returning_note", "nothing_returns", "said_note",
    "said_mark", "said_cleared", "said_take", "said_dropped", "said_saved", "said_loaded",
    "said_unknown", "said_not_marks", "said_other_etude", "said_not_kept",
)  # fmt: skip


def page(
    content: Handout,
    pictures: HandoutPictures,
    says: EtudeSays,
    phrases: PagePhrases,
    sounds: Sequence[PassageSounds] = (),
    *,
    embed: bool = True,
) -> str:
    """Return the page.

    Args:
        content: what the handout says.
        pictures: its pictures, engraved at :data:`skeleton.export.handout.make_page.WIDTH_MM`.
        says: what its notes say.
        phrases: the page's own words, in the language of the content.
        sounds: of each passage; none where empty.
        embed: whether the sounds are part of the file; else they are expected beside it under
            their names.
    """
    stand = Stand({note: said.measure for note, said in says.notes.items()})

    def source(sound: Sound) -> str:
        if not embed:
            return quote(sound.file)
        return f"data:{sound.mime};base64,{b64encode(sound.data).decode('ascii')}"

    heard = [Heard(one, source) for one in sounds]
    inside = body(content, pictures, stand, phrases, heard)
    headings = "".join((content.title, *_headings(content)))
    used = stand.used()
    used[BOLD] = used.get(BOLD, frozenset()) | frozenset(headings)
    style = Html(font_face_css(used) + _part("page.css"))
    script = Html(_part("page.js"))
    return Template(_part("page.html")).substitute(
        lang=content.words.code,
        policy=_policy(style, script, beside=bool(sounds) and not embed),
        title=Html(_escaped(content.title)),
        style=style,
        glyphs=stand.glyphs(),
        body=inside,
        data=json_text(_data(content, says, phrases)),
        script=script,
    )


def _policy(style: str, script: str, *, beside: bool) -> str:
    media = "data: 'self' file:" if beside else "data:"
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src {_hash(script)}",
            f"style-src {_hash(style)}",
            "font-src data:",
            "img-src data:",
            f"media-src {media}",
            "base-uri 'none'",
            "form-action 'none'",
            "require-trusted-types-for 'script'",
        )
    )


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{b64encode(digest).decode('ascii')}'"


def _part(name: str) -> str:
    return files("skeleton.export.handout").joinpath(name).read_text(encoding="utf-8").strip()


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")


def _headings(content: Handout) -> tuple[str, ...]:
    say = content.words.phrases
    return (
        say.this_week, say.tune_first, say.fixed, say.accidentals, say.matches, say.etude,
        say.listening, say.targets, say.care, say.bare, say.neighbours, say.checklist,
        *(f"{one.title}, {one.measures}" for one in content.passages),
    )  # fmt: skip


def _data(content: Handout, says: EtudeSays, phrases: PagePhrases) -> dict[str, Any]:
    """Return what the script works with: texts, notes, groups, passages."""
    facts: dict[tuple[tuple[str, str], ...], int] = {}
    notes: dict[str, object] = {}
    for note, said in says.notes.items():
        if said.same_as is not None and said.same_as in says.notes:
            notes[note] = said.same_as
            continue
        at = facts.setdefault(said.facts, len(facts))
        notes[note] = [said.name, said.place, said.measure, at, said.group, said.anchor]
    words = asdict(phrases)
    return {
        "etude": says.etude,
        "file": content.source.rpartition(".")[0] or content.source,
        "say": {name: words[name] for name in _SHOWN_TO_SCRIPT},
        "notes": notes,
        "facts": list(facts),
        "groups": [asdict(group) for group in says.groups],
        "passages": [[one.name, one.first_index, one.last_index] for one in content.passages],
    }
