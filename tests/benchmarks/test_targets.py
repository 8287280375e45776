"""What targets cost beside the analysis they are made from."""

from __future__ import annotations

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.export.lists.targets import targets_json
from skeleton.intonation.targets import targets
from skeleton.score.reading import read_bytes

NOTES = 5000


@pytest.fixture(scope="module")
def score(etude):
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


def test_targets_stay_under_twice_the_analysis(against, score):
    analysis = analyse(score)
    against(
        "targets of 5,000 notes",
        lambda: targets(analysis),
        "their analysis",
        lambda: analyse(score),
        at_most=2,
    )
