"""The pictures of a record: each mark at its note, nothing from outside, no colour."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from random import Random
from xml.etree import ElementTree as ET

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import read_lesson
from skeleton.analysis.results import Analysis
from skeleton.errors import JournalError
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.engraving.progress_picture import heat_marks, heat_picture
from skeleton.export.engraving.trend_picture import trend_picture
from skeleton.export.lists.document import plain_text
from skeleton.export.lists.progress_text import progress_document
from skeleton.journal.content import note_keys
from skeleton.journal.progress import Progress, progress
from skeleton.journal.records import Days
from skeleton.score.reading import read

SCORE = Path(__file__).parents[2] / "scores" / "first-skeleton.musicxml"
SVG = "{http://www.w3.org/2000/svg}"
DAYS = 20


@pytest.fixture(scope="module")
def etude() -> Analysis:
    return analyse(read(SCORE), read_lesson(SCORE.with_suffix(".toml")))


def record(etude: Analysis, habits: dict[str, float]) -> Progress:
    """Return the record of a student who plays these pitch classes so far off, every day."""
    chance = Random(1)
    keys = note_keys(etude.score)
    rows = []
    for key in keys.values():
        off = habits.get(key.split(":")[2][:-1], 0.0)
        cents = tuple(chance.gauss(off, 2) for _ in range(DAYS))
        judged = [
            tuple(int(abs(one) <= 8) for one in cents),
            tuple(int(one < -8) for one in cents),
            tuple(int(one > 8) for one in cents),
        ]
        days = tuple(range(739000, 739000 + DAYS))
        rows.append(Days(key, days, cents, (1,) * DAYS, *judged, (None,) * DAYS))
    return progress(etude, keys, "Ana & <Bo>", rows, takes=DAYS)


def test_heat(etude: Analysis) -> None:
    found = record(etude, {"F#": -15, "C#": 15})
    marks = heat_marks(found)
    pitches = {note.place.id: str(note.place.pitch.pitch_class) for note in found.notes}
    assert {pitches[note] for note in marks} == {"F#", "C#"}
    with Engraver() as engraver:
        text, notices = heat_picture(etude, found, engraver)
    assert notices == ()
    root = ET.fromstring(text)
    rings = [one.get("class") for one in root.iter(f"{SVG}ellipse")]
    low = sum(name == "F#" for note, name in pitches.items() if note in marks)
    assert low == sum(name == "F#" for name in pitches.values()) > 3
    assert rings.count("low") == low
    assert rings.count("high") == len(marks) - low
    assert rings.count("shade") == len(marks)
    assert text.count("↓1") >= 3
    assert "Ana &amp; &lt;Bo&gt;" in text


def test_a_group_speaks_for_its_notes(etude: Analysis) -> None:
    found = record(etude, {"F#": -15})
    doubted = [
        replace(one, finding=replace(one.finding, condition="perhaps")) if one.match == "K" else one
        for one in found.notes
    ]
    marks = heat_marks(replace(found, notes=tuple(doubted)))
    assert {one.ring for one in marks.values()} == {"flat"}
    text = plain_text(progress_document(etude, [replace(found, notes=tuple(doubted))]))
    assert "K: F#, octaves 4 and 5  flat again and again" in text
    assert "Not sure yet" not in text
    assert "F#5 in measure" not in text


def test_shades_grow_with_the_share_of_times_off(etude: Analysis) -> None:
    # Eight cents is what is tolerated: at -8 half of the times are off, at -12 nearly all.
    half, most = (heat_marks(record(etude, {"F#": off})) for off in (-8.0, -14.0))
    assert max(one.shade for one in half.values()) < min(one.shade for one in most.values())


def test_no_colour_and_nothing_from_outside(etude: Analysis) -> None:
    found = record(etude, {"F#": -15, "C#": 15})
    for text in (heat_picture(etude, found)[0], trend_picture(etude, found)):
        for red, green, blue in re.findall(r"#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})\b", text):
            assert red == green == blue
        assert not re.search(r"https?://(?!www\.w3\.org/)", text)
        assert "<script" not in text


def test_trends(etude: Analysis) -> None:
    found = record(etude, {"F#": -15})
    root = ET.fromstring(trend_picture(etude, found))
    dots = list(root.iter(f"{SVG}circle"))
    assert len(dots) == DAYS * (len(found.groups) + len(found.fixed))
    texts = ["".join(one.itertext()) for one in root.iter(f"{SVG}text")]
    assert texts[0] == "First Skeleton · Ana & <Bo>"
    assert any("flat again and again; usually 15 cents low" in one for one in texts)
    assert any(one.startswith("every G3: in order") for one in texts)
    height, width = (float(root.get("viewBox").split()[at]) for at in (3, 2))
    for dot in dots:
        assert 0 < float(dot.get("cy")) < height
        assert 0 < float(dot.get("cx")) < width


def test_nothing_to_draw(etude: Analysis) -> None:
    with pytest.raises(JournalError, match="nothing to draw"):
        heat_picture(etude, record(etude, {}))
    empty = progress(etude, note_keys(etude.score), "Ana", [], takes=0)
    with pytest.raises(JournalError, match="nothing to draw"):
        trend_picture(etude, empty)
