"""What an analysis costs beside parsing the same file."""

from __future__ import annotations

from typing import Final

import pytest
from lxml import etree

from skeleton.analysis.analyse import analyse
from skeleton.score.reading import read_bytes

NOTES: Final = 5_000


@pytest.fixture(scope="module")
def data(etude) -> bytes:
    return etude(NOTES)


def test_analyse(benchmark, data):
    score = read_bytes(data, "etude.musicxml")
    analysis = benchmark(analyse, score)
    assert len(analysis.parts[0].accidentals) > NOTES // 5


def test_read_and_analyse(benchmark, data):
    analysis = benchmark(lambda: analyse(read_bytes(data, "etude.musicxml")))
    assert len(analysis.parts[0].skeleton) > NOTES // 4


def test_reading_and_analysing_costs_few_parses(against, data):
    against(
        "read and analyse 5,000 notes",
        lambda: analyse(read_bytes(data, "etude.musicxml")),
        "lxml's parse",
        lambda: etree.fromstring(data),
        at_most=8,
    )


def test_reading_and_analysing_grows_with_the_notes(against, data, etude):
    short_data = etude(NOTES // 10)
    against(
        "read and analyse 5,000 notes",
        lambda: analyse(read_bytes(data, "etude.musicxml")),
        "the same for 500",
        lambda: analyse(read_bytes(short_data, "etude.musicxml")),
        at_most=11,
    )


def test_reading_and_analysing_grows_with_very_many_notes(against, data, etude):
    long_data = etude(10 * NOTES)
    against(
        "read and analyse 50,000 notes",
        lambda: analyse(read_bytes(long_data, "etude.musicxml")),
        "the same for 5,000",
        lambda: analyse(read_bytes(data, "etude.musicxml")),
        at_most=11,
        rounds=3,
    )
