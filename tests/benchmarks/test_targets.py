"""What targets cost beside the analysis they are made from (select with --benchmark-enable)."""

from __future__ import annotations

from random import Random
from time import perf_counter

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.export.targets import targets_json
from skeleton.intonation.targets import targets
from skeleton.score.reading import read_bytes

NOTES = 5000
MOST_TIMES_THE_ANALYSIS = 2.0
"""Measured 0.8 on a quiet machine."""


def etude(notes: int) -> bytes:
    """Return sixteenths slurred two by two, a walk by letters; every third note is altered."""
    random = Random(1)
    place, measures = 35, []
    for first in range(0, notes, 16):
        held = []
        for count in range(min(16, notes - first)):
            octave, letter = divmod(place, 7)
            alter = random.choice((-1, 1)) if random.random() < 1 / 3 else 0
            held.append(
                f"<note><pitch><step>{'CDEFGAB'[letter]}</step><alter>{alter}</alter>"
                f"<octave>{octave}</octave></pitch><duration>1</duration><voice>1</voice>"
                f'<notations><slur type="{"stop" if count % 2 else "start"}"/></notations></note>'
            )
            place = min(max(place + random.choice((-2, -1, -1, 1, 1, 2)), 26), 47)
        attributes = (
            "<attributes><divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type>"
            "</time></attributes>"
        )
        measures.append(
            f'<measure number="{first // 16 + 1}">{"" if first else attributes}{"".join(held)}'
            "</measure>"
        )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin</part-name>'
        f'</score-part></part-list><part id="P1">{"".join(measures)}</part></score-partwise>'
    ).encode()


@pytest.fixture(scope="module")
def score():
    return read_bytes(etude(NOTES), "etude.musicxml")


def test_targets(benchmark, score):
    analysis = analyse(score)
    found = benchmark(targets, analysis)
    placed = {p.id for one in found.passages for t in one.targets for p in t.places}
    part = analysis.parts[0]
    assert placed == {n.place.id for n in (*part.skeleton, *part.accidentals)}


def test_targets_json(benchmark, score):
    found = targets(analyse(score))
    assert len(benchmark(targets_json, found)) > NOTES


def test_targets_stay_under_twice_the_analysis(score):
    analysis = analyse(score)
    analyse_s = min(_seconds(lambda: analyse(score)) for _ in range(5))
    targets_s = min(_seconds(lambda: targets(analysis)) for _ in range(5))
    assert targets_s < MOST_TIMES_THE_ANALYSIS * analyse_s


def _seconds(action) -> float:
    begun = perf_counter()
    action()
    return perf_counter() - begun
