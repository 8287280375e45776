"""An analysis made by hand, so that what is exported does not hang on what is analysed."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from skeleton.analysis.results import (
    AccidentalNote,
    Analysis,
    Anchor,
    Lean,
    MatchGroup,
    PartAnalysis,
    Passage,
    Place,
    RuleFit,
    SkeletonNote,
    Twins,
)
from skeleton.score.model import Notice
from skeleton.score.reading import read_bytes
from skeleton.theory.instrument import INSTRUMENTS
from skeleton.theory.interval import Interval, between
from skeleton.theory.pitch import parse_pitch, parse_pitch_class

# measure, beat, pitch, slur: eighths in 2/4, slurred in pairs
MUSIC = (
    ("n1", 0, 1, "F#4"), ("n2", 0, Fraction(3, 2), "G4"),
    ("n3", 0, 2, "C#5"), ("n4", 0, Fraction(5, 2), "D5"),
    ("n5", 1, 1, "F#5"), ("n6", 1, Fraction(3, 2), "G5"),
    ("n7", 1, 2, "Gb4"), ("n8", 1, Fraction(5, 2), "F4"),
    ("n9", 2, 1, "F#4"), ("n10", 2, Fraction(3, 2), "G4"),
    ("n11", 2, 2, "F#4"), ("n12", 2, Fraction(5, 2), "F4"),
)  # fmt: skip


def _document() -> bytes:
    measures: list[str] = []
    for index in range(3):
        notes = []
        for place, (name, measure, _, text) in enumerate(MUSIC):
            if measure == index:
                pitch = parse_pitch(text)
                notes.append(
                    f'<note id="{name}"><pitch><step>{pitch.step}</step>'
                    f"<alter>{pitch.alter}</alter><octave>{pitch.octave}</octave></pitch>"
                    "<duration>1</duration><voice>1</voice><type>eighth</type><notations>"
                    f'<slur number="1" type="{"stop" if place % 2 else "start"}"/></notations>'
                    "</note>"
                )
        attributes = (
            "<attributes><divisions>2</divisions><time><beats>2</beats><beat-type>4</beat-type>"
            "</time></attributes>"
        )
        measures.append(
            f'<measure number="{index + 1}">{"" if index else attributes}{"".join(notes)}</measure>'
        )
    return (
        '<score-partwise version="4.0"><work><work-title>Étude *one*</work-title></work>'
        '<part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list>'
        f'<part id="P1">{"".join(measures)}</part></score-partwise>'
    ).encode()


def _places() -> dict[str, Place]:
    return {
        name: Place(
            name, "P1", str(measure + 1), measure, Fraction(beat),
            2 * measure + Fraction(beat) - 1, "1", parse_pitch(text),
        )
        for name, measure, beat, text in MUSIC
    }  # fmt: skip


@pytest.fixture
def analysis() -> Analysis:
    """Three measures in two passages; F sharp in two octaves, G flat beside it."""
    at = _places()

    def anchor(note: str, on: str) -> Anchor:
        return Anchor(at[on], between(at[on].pitch, at[note].pitch))

    def accidental(note: str, on: str, runner_up: str | None = None) -> AccidentalNote:
        return AccidentalNote(
            at[note],
            printed=True,
            structural=False,
            open_string=False,
            anchor=anchor(note, on),
            runner_up=anchor(note, runner_up) if runner_up else None,
        )

    def bone(note: str, string: str | None = None) -> SkeletonNote:
        reasons = ("slur", "open-string") if string else ("slur",)
        return SkeletonNote(at[note], reasons, parse_pitch(string) if string else None, 2)

    below, above = Interval(-1, -1), Interval(0, 1)
    part = PartAnalysis(
        "P1",
        INSTRUMENTS["violin"],
        (
            bone("n2", "G3"),
            bone("n4", "D4"),
            bone("n6", "G3"),
            bone("n8"),
            bone("n10", "G3"),
            bone("n12"),
        ),
        (
            accidental("n1", "n2"),
            accidental("n3", "n4", "n2"),
            accidental("n5", "n6"),
            accidental("n7", "n8"),
            accidental("n9", "n10"),
            accidental("n11", "n12", "n10"),
        ),
        (
            MatchGroup(
                "K",
                "P1",
                parse_pitch_class("F#"),
                (4, 5),
                ("n1", "n5", "n9", "n11"),
                (
                    Lean(parse_pitch_class("G"), below, ("n1", "n5", "n9")),
                    Lean(parse_pitch_class("F"), above, ("n11",)),
                ),
            ),
        ),
        (Twins("P1", "A", parse_pitch_class("F#"), parse_pitch_class("Gb")),),
    )
    return Analysis(
        read_bytes(_document(), "etude.musicxml"),
        "second",
        (RuleFit("second", 1.0, 4 / 6, 6), RuleFit("first", 2 / 3, 0.0, 6)),
        (part,),
        (Passage("A", 0, 1, "1", "2"), Passage("=B|", 2, 2, "3", "3")),
        (Notice("odd", "something odd", "P1", "2"),),
        440.0,
    )


@pytest.fixture
def silent(analysis: Analysis) -> Analysis:
    """The same file with no part that could be read."""
    return replace(analysis, score=replace(analysis.score, parts=()), parts=(), passages=())
