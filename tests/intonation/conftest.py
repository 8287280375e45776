"""A short way to an analysed etude."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import parse_lesson
from skeleton.analysis.results import Analysis
from skeleton.score.reading import read_bytes
from skeleton.theory.pitch import Pitch, parse_pitch


def document(pitches: Sequence[Pitch], attributes: str = "") -> bytes:
    """Return quarters n1, n2 ... in 4/4 without key signature, slurred two by two."""
    notes = [
        f'<note id="n{place}"><pitch><step>{pitch.step}</step><alter>{pitch.alter}</alter>'
        f"<octave>{pitch.octave}</octave></pitch><duration>1</duration><voice>1</voice>"
        f'<notations><slur type="{"start" if place % 2 else "stop"}"/></notations></note>'
        for place, pitch in enumerate(pitches, start=1)
    ]
    if len(notes) % 2:
        notes[-1] = notes[-1].replace('<slur type="start"/>', "")
    measures = [
        f'<measure number="{first // 4 + 1}">'
        + (
            "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type>"
            f"</time>{attributes}</attributes>"
            if first == 0
            else ""
        )
        + "".join(notes[first : first + 4])
        + "</measure>"
        for first in range(0, len(notes), 4)
    ]
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1">'
        "<part-name>Violin</part-name></score-part></part-list>"
        f'<part id="P1">{"".join(measures)}</part></score-partwise>'
    ).encode()


@pytest.fixture(scope="session")
def etude():
    """Read and analyse slurred pairs: ``etude("F#4 G4 C#5 D5", lesson="a4_hz = 442")``."""

    def make(pitches: str | Sequence[Pitch], lesson: str = "", attributes: str = "") -> Analysis:
        named = (
            [parse_pitch(one) for one in pitches.split()] if isinstance(pitches, str) else pitches
        )
        score = read_bytes(document(named, attributes), "test.musicxml")
        return analyse(score, parse_lesson(lesson))

    return make
