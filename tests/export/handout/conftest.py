"""One small etude and its handout, made once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, parse_lesson
from skeleton.analysis.results import Analysis
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.make import handout
from skeleton.export.handout.pictures import HandoutPictures, handout_pictures
from skeleton.export.handout.typeset import Pdf, music_width_mm
from skeleton.export.handout.words import words
from skeleton.score.reading import read, read_bytes

LESSON = """
title = "Week three"
a4_hz = 442
assignment = "The skeleton by heart.\\nThen slowly as written."

[[passage]]
name = "opening"
measures = "1-8"
tempo = 56.5
stage = "bare"
goal = "every D rings"

[[passage]]
name = "rest"
measures = "9-16"
"""


@dataclass(frozen=True, slots=True)
class Case:
    """An etude with its lesson."""

    analysis: Analysis
    lesson: Lesson


@pytest.fixture(scope="session")
def first_skeleton() -> Case:
    """The first demo etude with an assignment."""
    score = read(Path(__file__).parents[3] / "scores" / "first-skeleton.musicxml")
    lesson = parse_lesson(LESSON)
    return Case(analyse(score, lesson), lesson)


@pytest.fixture(scope="session")
def engraver():
    """One engraver for all tests of a process."""
    with Engraver() as running:
        yield running


@pytest.fixture(scope="session")
def first_pdf(first_skeleton: Case, engraver: Engraver) -> Pdf:
    """The handout of the first demo etude on A4, in English."""
    return handout(first_skeleton.analysis, first_skeleton.lesson, engraver)


@pytest.fixture(scope="session")
def first_pictures(first_skeleton: Case, engraver: Engraver) -> HandoutPictures:
    """Its pictures."""
    width_mm = music_width_mm("a4")
    return handout_pictures(first_skeleton.analysis, engraver, words("en"), width_mm)


@pytest.fixture
def made_of(engraver: Engraver) -> Callable[..., tuple[Analysis, Pdf]]:
    """Make the handout of a score given as MusicXML text."""

    def make(text: str, **options: str) -> tuple[Analysis, Pdf]:
        found = analyse(read_bytes(text.encode(), "hostile.musicxml"))
        return found, handout(found, None, engraver, **options)

    return make
