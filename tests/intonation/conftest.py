"""A short way to an analysed etude."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from slurred_pairs import slurred_pairs

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import parse_lesson
from skeleton.analysis.results import Analysis
from skeleton.score.reading import read_bytes
from skeleton.theory.pitch import Pitch


@pytest.fixture(scope="session")
def etude():
    """Read and analyse slurred pairs: ``etude("F#4 G4 C#5 D5", lesson="a4_hz = 442")``."""

    def make(pitches: str | Sequence[Pitch], lesson: str = "", attributes: str = "") -> Analysis:
        named = pitches.split() if isinstance(pitches, str) else pitches
        data = slurred_pairs(named, ids="n", attributes=attributes)
        score = read_bytes(data, "test.musicxml")
        return analyse(score, parse_lesson(lesson))

    return make
