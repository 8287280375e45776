"""Tablature becomes notes: the engraver looks for lost frets without end."""

from __future__ import annotations

import re

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.reducing.reduction import Stage, reduction
from skeleton.export.views import pictures
from skeleton.score.reading import read_bytes

# A banjo's: the highest string is not the first (common practice, no source).
TUNING = "".join(
    f'<staff-tuning line="{line}"><tuning-step>{step}</tuning-step>'
    f"<tuning-octave>{octave}</tuning-octave></staff-tuning>"
    for line, (step, octave) in enumerate(("G4", "D3", "G3", "C4", "D4"), start=1)
)
CLEF = (
    "<clef><sign>TAB</sign><line>5</line></clef>"
    f"<staff-details><staff-lines>5</staff-lines>{TUNING}</staff-details>"
)
PLACE = "<technical><string>3</string><fret>2</fret></technical>"


@pytest.fixture
def tablature(write_etude) -> bytes:
    text = write_etude("C4:1( C#4:1) D4:1( D3:1) | A3:1( D4:1) G#3:1( G3:1)").decode()
    text = re.sub(r"<clef>.*?</clef>", "", text, flags=re.DOTALL)
    text = text.replace("</attributes>", f"{CLEF}</attributes>", 1)
    text = text.replace("<notations>", f"<notations>{PLACE}")
    assert CLEF in text
    assert PLACE in text
    return text.encode()


@pytest.mark.parametrize("stage", ["bare", "neighbours"])
def test_a_reduction_of_tablature_is_written_in_notes(tablature: bytes, stage: Stage) -> None:
    reduced = reduction(analyse(read_bytes(tablature, "banjo.musicxml")), stage)
    assert [sign.text for sign in reduced.root.iter("sign")] == ["F"]  # around A3
    assert [line.text for line in reduced.root.iter("line")] == ["4"]
    for tag in ("staff-details", "string", "fret"):
        assert not list(reduced.root.iter(tag))
    assert [notice.code for notice in reduced.notices].count("tablature") == 1


@pytest.mark.parametrize("stage", ["bare", "neighbours"])
def test_it_is_drawn(tablature: bytes, stage: Stage) -> None:
    """With frets lost and the tuning kept the engraver never ends."""
    found = analyse(read_bytes(tablature, "banjo.musicxml"))
    with Engraver(limit_s=10) as engraver:
        drawn = pictures(found, stage, engraver)
    assert "not-drawn" not in {notice.code for notice in drawn.notices}


def test_high_notes_take_the_treble_clef(tablature: bytes) -> None:
    high = re.sub(rb"<octave>.</octave>", b"<octave>5</octave>", tablature)
    reduced = reduction(analyse(read_bytes(high, "mandolin.musicxml")), "bare")
    assert [sign.text for sign in reduced.root.iter("sign")] == ["G"]


def test_staves_of_notes_stay_as_they_are(write_etude) -> None:
    reduced = reduction(analyse(read_bytes(write_etude("C5:2( C#5:2)"), "a.musicxml")), "bare")
    assert "tablature" not in {notice.code for notice in reduced.notices}
