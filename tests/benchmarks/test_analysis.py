"""What an analysis costs beside parsing the same file (select with --benchmark-enable)."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from time import perf_counter

import pytest
from lxml import etree

from skeleton.analysis.analyse import analyse
from skeleton.score.reading import read_bytes

_spec = importlib.util.spec_from_file_location("etude", Path(__file__).with_name("etude.py"))
_etude = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_etude)

NOTES = 5000
MOST_TIMES_THE_PARSE = 6.0
"""Measured 2.4 on a quiet machine; a wide limit, for shared machines are not quiet."""


@pytest.fixture(scope="module")
def data() -> bytes:
    return _etude.etude(NOTES)


def test_parse(benchmark, data):
    root = benchmark(etree.fromstring, data)
    assert len(root.findall(".//note")) == NOTES


def test_analyse(benchmark, data):
    score = read_bytes(data, "etude.musicxml")
    analysis = benchmark(analyse, score)
    assert len(analysis.parts[0].accidentals) > NOTES // 5


def test_read_and_analyse(benchmark, data):
    analysis = benchmark(lambda: analyse(read_bytes(data, "etude.musicxml")))
    assert len(analysis.parts[0].skeleton) > NOTES // 4


def test_analysis_stays_within_a_few_parses(data):
    score = read_bytes(data, "etude.musicxml")
    parse_s = min(_seconds(lambda: etree.fromstring(data)) for _ in range(5))
    analyse_s = min(_seconds(lambda: analyse(score)) for _ in range(5))
    assert analyse_s < MOST_TIMES_THE_PARSE * parse_s


def test_cost_grows_with_the_notes_and_not_faster():
    small, large = (read_bytes(_etude.etude(n), "etude.musicxml") for n in (1000, 8000))
    small_s = min(_seconds(lambda: analyse(small)) for _ in range(5))
    large_s = min(_seconds(lambda: analyse(large)) for _ in range(3))
    # Eight times the notes; a quadratic step would make it 64.
    assert large_s < 20 * small_s


def _seconds(action) -> float:
    begin = perf_counter()
    action()
    return perf_counter() - begin
