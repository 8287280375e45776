"""The page without a browser: what it says, that it is valid and closed, and how large it is."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
from dataclasses import fields
from string import Formatter

import html5lib
import numpy as np
import pytest
import resvg_py
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, parse_lesson
from skeleton.errors import OptionError
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.engraving.typeface import font_files
from skeleton.export.handout.content import handout_content
from skeleton.export.handout.make_page import Page, handout_page
from skeleton.export.handout.markup import Html, el, join, json_text
from skeleton.export.handout.page_music import Stand
from skeleton.export.handout.page_notes import etude_says
from skeleton.export.handout.page_words import PagePhrases, page_words
from skeleton.export.handout.words import LANGUAGES, words
from skeleton.intonation.targets import targets
from skeleton.score.reading import read_bytes

HTML = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "</script><script>alert(1)</script><img src=x onerror=alert(2)>&amp;$title"


def etude(notes: list[str], *, title: str = "Small", per_measure: int = 4) -> str:
    """Eighths slurred in pairs, as MusicXML; notes such as ``F#4``."""
    measures = []
    for start in range(0, len(notes), per_measure):
        inside = []
        for place, name in enumerate(notes[start : start + per_measure]):
            alter = {"#": 1, "b": -1}.get(name[1], 0)
            beam = "begin" if place % 4 == 0 else "end" if place % 4 == 3 else "continue"
            inside.append(
                f"<note><pitch><step>{name[0]}</step><alter>{alter}</alter>"
                f"<octave>{name[-1]}</octave></pitch><duration>1</duration><voice>1</voice>"
                f'<type>eighth</type><beam number="1">{beam}</beam><notations>'
                f'<slur type="{"stop" if place % 2 else "start"}"/></notations></note>'
            )
        attributes = (
            "<attributes><divisions>2</divisions><time>"
            f"<beats>{per_measure}</beats><beat-type>8</beat-type></time></attributes>"
        )
        number = start // per_measure + 1
        measures.append(
            f'<measure number="{number}">{"" if start else attributes}{"".join(inside)}</measure>'
        )
    escaped = title.replace("&", "&amp;").replace("<", "&lt;")
    return (
        f'<score-partwise version="4.0"><work><work-title>{escaped}</work-title></work>'
        f"<identification><creator type='composer'>{escaped}</creator></identification>"
        '<part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list>'
        f'<part id="P1">{"".join(measures)}</part></score-partwise>'
    )


NOTES = ["F#4", "G4", "C#5", "D5", "F#5", "G5", "E4", "F4", "F#4", "G4", "B4", "C5"]
LESSON = parse_lesson(
    '[[passage]]\nname = "A"\nmeasures = "1-2"\n[[passage]]\nname = "B"\nmeasures = "3"\n'
)


def made(text: str, engraver: Engraver, lesson: Lesson = LESSON, **options: object) -> Page:
    analysis = analyse(read_bytes(text.encode(), "small.musicxml"), lesson)
    return handout_page(analysis, lesson, engraver, **options)


def parsed(html: str):
    """Parse as a browser does, any error raised (html5lib: WHATWG HTML, parsing)."""
    return html5lib.HTMLParser(strict=True).parse(html)


def text_of(html: str) -> str:
    root = parsed(html)
    body = root.find(f"{HTML}body")
    for script in list(body.iter(f"{HTML}script")):
        body.remove(script)
    return " ".join(" ".join(body.itertext()).split())


def data_of(html: str) -> dict:
    return json.loads(re.search(r'id="etude-data">(.*?)</script>', html, re.DOTALL)[1])


@pytest.fixture(scope="module")
def small(engraver: Engraver) -> Page:
    return made(etude(NOTES), engraver, with_sounds=False)


@pytest.mark.parametrize("language", LANGUAGES)
def test_it_says_all_that_the_handout_says(first_skeleton, engraver, language) -> None:
    found = targets(first_skeleton.analysis)
    content = handout_content(
        first_skeleton.analysis, found, words(language), first_skeleton.lesson
    )
    page = handout_page(
        first_skeleton.analysis, first_skeleton.lesson, engraver, language=language,
        with_sounds=False,
    )  # fmt: skip
    shown = text_of(page.html)
    wanted = [content.title, content.made_from, *content.strings, *content.assignment]
    wanted += [cell for row in content.plan.rows for cell in row]
    wanted += [step for tuning in content.tuning for step in tuning.steps]
    for sheet in content.passages:
        wanted += [f"{sheet.title}, {sheet.measures}", sheet.tempo, sheet.stage, sheet.goal]
        for part in sheet.parts:
            wanted += [part.drone, part.twins]
            wanted += [text for row in part.fixed for text in (row.notes, row.string)]
            wanted += [
                text for row in part.notes for text in (row.note, row.how, row.places, row.match)
            ]
    for row in content.matches:
        wanted += [row.letter, row.note, row.pitches, row.lean, row.measures]
    for row in content.targets.rows:
        wanted += [row.note, row.pitches, row.tuned_from, row.step, row.tuner, row.check]
    wanted += [*content.targets.notes, *content.cautions]
    wanted += [*content.words.phrases.listening_steps, *content.legend]
    assert len(wanted) > 80
    missing = [text for text in wanted if " ".join(text.split()) not in shown]
    assert missing == []
    assert f'lang="{language}"' in page.html


def test_every_line_of_music_is_described(small: Page) -> None:
    pictures = [one for one in parsed(small.html).iter(f"{SVG}svg") if one.get("class") == "music"]
    labels = [one.get("aria-label") for one in pictures]
    assert len(labels) == 2 * 2 + 2  # two stages of two passages; the etude, and for listening
    assert all(re.fullmatch(r"Engraved music, .+, measures? .+\.", label) for label in labels)
    assert {one.get("role") for one in pictures} == {"img"}  # the script makes groups of them


def test_ids_are_unique_and_what_is_named_exists(small: Page) -> None:
    root = parsed(small.html)
    ids = [one.get("id") for one in root.iter() if one.get("id") is not None]
    assert len(ids) > 40
    assert len(ids) == len(set(ids))
    named = [one.get("for") for one in root.iter() if one.get("for")]
    named += [one.get("aria-labelledby") for one in root.iter() if one.get("aria-labelledby")]
    named += [one.get("href")[1:] for one in root.iter() if (one.get("href") or "").startswith("#")]
    assert len(named) > 60  # glyphs among them
    assert set(named) <= set(ids)


def test_notes_of_all_pictures_carry_the_ids_of_the_score(small: Page) -> None:
    score = read_bytes(etude(NOTES).encode(), "small.musicxml")
    ids = [note.id for note in score.parts[0].notes]
    drawn = re.findall(r'data-note="([^"]+)"', small.html)
    assert set(drawn) == set(ids) == set(data_of(small.html)["notes"])
    assert drawn.count(ids[1]) == 4  # a skeleton note is in every picture
    measures = set(re.findall(r'data-m="(\d+)"', small.html))
    assert measures == {"0", "1", "2"}


def test_markup_in_a_score_is_text(engraver: Engraver) -> None:
    page = made(etude(NOTES, title=HOSTILE), engraver, with_sounds=False)
    root = parsed(page.html)
    assert root.find(f"{HTML}head/{HTML}title").text == HOSTILE
    assert root.find(f".//{HTML}h1").text == HOSTILE
    scripts = list(root.iter(f"{HTML}script"))
    assert [one.get("type") for one in scripts] == ["application/json", None]
    assert not list(root.iter(f"{HTML}img"))
    attributes = {name for one in root.iter() for name in one.attrib}
    assert not [name for name in attributes if str(name).startswith("on")]
    assert "style" not in attributes  # none is needed, and the policy would refuse it


def test_the_policy_names_the_one_script_and_the_one_style(small: Page) -> None:
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', small.html)[1]
    rules = dict(rule.split(" ", 1) for rule in policy.split("; "))
    script = re.search(r"<script>(.*?)</script>", small.html, re.DOTALL)[1]
    style = re.search(r"<style>(.*?)</style>", small.html, re.DOTALL)[1]
    for name, text in (("script-src", script), ("style-src", style)):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert rules[name] == f"'sha256-{digest}'"
    assert rules["default-src"] == "'none'"
    assert rules["media-src"] == "data:"
    assert "unsafe" not in policy


def test_nothing_outside_is_named(small: Page) -> None:
    without_data = re.sub(r'base64,[^)"]+', "", small.html)
    # The namespace by which a script makes elements of SVG; it is a name, nothing is fetched.
    assert set(re.findall(r"https?:[^\"' )]*", without_data)) == {"http://www.w3.org/2000/svg"}
    sources = re.findall(r'(?:src|href)="([^"]+)"', small.html)
    assert sources
    assert all(one.startswith(("#", "data:")) for one in sources)


def test_a_note_says_what_it_hangs_on_and_where_it_returns(small: Page) -> None:
    data = data_of(small.html)
    score = read_bytes(etude(NOTES).encode(), "small.musicxml")
    ids = [note.id for note in score.parts[0].notes]
    name, place, measure, facts, group, anchor = data["notes"][ids[0]]
    assert (name, place, measure, anchor) == ("F♯4", "measure 1, beat 1", 0, ids[1])
    said = dict(data["facts"][facts])
    assert said["Tune it"] == "half step below G4"
    # 256/243, the limma of the chain of fifths: 90.2 cents (any handbook of tuning)
    assert said["Leans"].startswith("90.2 ")
    assert data["groups"][group] == {
        "letter": "K", "pitches": "F♯4 F♯5", "notes": [ids[0], ids[4], ids[8]],
    }  # fmt: skip
    name, _, _, facts, group, anchor = data["notes"][ids[5]]
    assert (name, group, anchor) == ("G5", None, None)
    assert dict(data["facts"][facts])["Fixed"] == "open G3, exact; octaves higher: 2"


def test_marks_belong_to_the_bytes_of_the_score(small: Page) -> None:
    assert data_of(small.html)["etude"] == hashlib.sha256(etude(NOTES).encode()).hexdigest()


def test_a_tied_note_is_the_note_it_continues() -> None:
    text = etude(["G4", "A4", "A4", "D5"])
    tie = '<tie type="{0}"/><voice>1</voice>'
    parts = text.split("<voice>1</voice>")
    text = "<voice>1</voice>".join(parts[:2]) + tie.format("start") + parts[2]
    text += tie.format("stop") + "<voice>1</voice>".join(parts[3:])
    score = read_bytes(text.encode(), "tied.musicxml")
    ids = [note.id for note in score.parts[0].notes]
    found = targets(analyse(score))
    says = etude_says(found, words("en"), page_words("en"))
    assert says.notes[ids[2]].same_as == ids[1]
    assert says.notes[ids[1]].same_as is None


def test_sounds_are_in_the_file_up_to_a_size_and_beside_it_above(engraver: Engraver) -> None:
    whole = made(etude(NOTES), engraver, embed_up_to_mb=50.0)
    assert whole.files == {}
    inside = re.findall(r'<audio[^>]* src="data:(audio/\w+);base64,([^"]+)"', whole.html)
    assert [kind for kind, _ in inside].count("audio/mpeg") == 6  # three stages, two passages
    for _, data in inside:
        samples, rate = soundfile.read(io.BytesIO(base64.b64decode(data)))
        assert rate == 22050
        assert np.abs(samples).max() > 0.01
    split = made(etude(NOTES), engraver, embed_up_to_mb=0.001, name="Étude 1#")
    assert len(split.files) == len(inside)
    assert "data:audio" not in split.html
    for name in split.files:
        assert name.startswith("Étude 1#")
    assert 'src="%C3%89tude%201%23-1-bare.mp3"' in split.html
    assert "media-src data: 'self' file:" in split.html
    parsed(split.html)


def test_passages_with_one_drone_share_it(engraver: Engraver) -> None:
    page = made(etude(["F#4", "G4", "F#4", "G4"] * 3), engraver, embed_up_to_mb=50.0)
    assert page.html.count("data:audio/flac") == 1
    shared = re.findall(r'data-same="([^"]+)"', page.html)
    assert len(shared) == 1
    assert (
        f'<audio controls preload="none" aria-label="Drone: open G3" id="{shared[0]}"' in page.html
    )


def test_the_shortened_lines_look_like_the_engraved_ones(first_pictures, first_skeleton) -> None:
    says = etude_says(targets(first_skeleton.analysis), words("en"), page_words("en"))
    stand = Stand({note: said.measure for note, said in says.notes.items()})
    # What page.css says of music, as far as a plain reader of SVG understands it.
    css = (
        "defs path{stroke-width:1px}path,polygon,polyline,rect,ellipse,circle{stroke:black}"
        ".bold{font-weight:700}"
        ".frame{fill:none;stroke-width:23.4px}.soft{fill:#767676}.soft path{stroke:#767676}"
        'path.soft{stroke:#767676}.italic{font-style:italic}.symbols{font-family:"Etude Music"}'
    )
    systems = [*first_pictures.etude, *first_pictures.passages[0].neighbours]
    for system in systems:
        line = str(stand.lines([system]))
        glyphs = re.search(r"<defs>.*</defs>", str(stand.glyphs()), re.DOTALL)[0]
        start, inside = line.split(">", 1)
        own = (
            f'{start} xmlns="http://www.w3.org/2000/svg" width="{system.width_mm}mm" '
            f'height="{system.height_mm}mm" stroke-width="18" font-size="306px" '
            f'font-family="Etude Serif"><style>{css}</style>{glyphs}{inside}'
        )
        own = re.sub(
            r"<(polyg|polyl|ell|re)(?![^>]*stroke-width)(\w+)", r'<\1\2 stroke-width="1"', own
        )
        before, after = pixels(system.svg), pixels(own)
        assert before.shape == after.shape
        assert (before < 128).sum() > 5_000
        assert (np.abs(before - after) > 128).sum() == 0
        assert len(line) < 0.75 * len(system.svg)


def pixels(svg: str) -> np.ndarray:
    png = resvg_py.svg_to_bytes(
        svg_string=svg, dpi=200, background="white", font_files=list(font_files())
    )
    return np.asarray(Image.open(io.BytesIO(bytes(png))).convert("L")).astype(int)


def test_64_measures_of_sixteen_notes_stay_under_a_megabyte_and_a_half(engraver) -> None:
    bar = ["F#4", "G4", "C#5", "D5", "G#4", "A4", "Eb5", "D5"]
    notes = [bar[(place + 2 * (place // 16)) % 8] for place in range(64 * 16)]
    page = made(etude(notes, per_measure=16), engraver, Lesson(), with_sounds=False)
    assert page.html.count("data-note=") > 3000
    assert len(page.html.encode()) < 1_500_000


# --- words


def test_all_languages_have_the_same_blanks_and_their_own_words() -> None:
    first, *others = (page_words(code) for code in LANGUAGES)
    for other in others:
        same = 0
        for field in fields(PagePhrases):
            ours, theirs = getattr(first, field.name), getattr(other, field.name)
            assert blanks(ours) == blanks(theirs), field.name
            same += ours == theirs
        assert same < 5


def blanks(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def test_a_language_that_is_not_there_is_told() -> None:
    with pytest.raises(OptionError, match="no language 'xx'"):
        page_words("xx")


# --- markup

TEXT = st.text(st.characters(exclude_categories=["Cc", "Cs", "Co", "Cn"]))


@given(TEXT)
def test_any_text_comes_back_as_it_went_in(text: str) -> None:
    html = f"<!doctype html><title>x</title>{el('p', text, title=text, data_key=text)}"
    paragraph = html5lib.parse(html).find(f".//{HTML}p")
    assert (paragraph.text or "") == text
    assert paragraph.get("title") == text
    assert len(paragraph) == 0


@given(st.dictionaries(TEXT, st.lists(TEXT)))
def test_data_cannot_end_its_element(value: dict[str, list[str]]) -> None:
    text = json_text(value)
    assert "<" not in text
    assert json.loads(text) == value


def test_elements_nest_and_finished_html_is_not_escaped_twice() -> None:
    assert el("p", el("b", "a & b"), " <c>") == "<p><b>a &amp; b</b> &lt;c&gt;</p>"
    assert el("input", type="checkbox", checked=True, value=None) == (
        '<input type="checkbox" checked>'
    )
    assert join(Html("<i>"), None, "<") == "<i>&lt;"
