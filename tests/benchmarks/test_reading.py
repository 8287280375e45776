"""How long reading takes, beside lxml's own parse of the same bytes and beside music21.

Run with ``pytest tests/benchmarks --benchmark-enable``; the everyday run calls each once.
The load is an etude made by rule: one part in sixteenths, slurred two by two, every third
note altered, each note with the children that notation programs write.
"""

from __future__ import annotations

import gc
import time
import warnings
from collections.abc import Callable, Iterator
from itertools import islice
from random import Random
from typing import Final

import pytest
from lxml import etree

from skeleton.score.reading import read_bytes

NOTES: Final = 5_000
READING_TIMES_PARSING: Final = 4.5
"""What reading may cost, in parses of the same bytes by lxml."""

_SIGNS: Final = {1: "sharp", -1: "flat", 0: "natural"}


def etude(notes: int, seed: int = 1) -> bytes:
    """Return a MusicXML score of one part in 4/4 and G major with so many notes."""
    random = Random(seed)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            "<!DOCTYPE score-partwise PUBLIC "
            '"-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
            '"http://www.musicxml.org/dtds/partwise.dtd">'
        ),
        '<score-partwise version="4.0">',
        "  <movement-title>A study made by rule</movement-title>",
        '  <part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list>',
        '  <part id="P1">',
    ]
    walk = _walk(random)
    for place in range((notes + 15) // 16):
        lines.append(f'    <measure number="{place + 1}" width="320.5">')
        if place == 0:
            lines.append(
                "      <attributes>\n        <divisions>4</divisions>\n"
                "        <key>\n          <fifths>1</fifths>\n        </key>\n"
                "        <time>\n          <beats>4</beats>\n"
                "          <beat-type>4</beat-type>\n        </time>\n"
                "        <clef>\n          <sign>G</sign>\n          <line>2</line>\n"
                "        </clef>\n      </attributes>"
            )
        for count, diatonic in enumerate(islice(walk, min(16, notes - 16 * place))):
            lines.append(_note(random, diatonic, count))
        lines.append("    </measure>")
    lines += ["  </part>", "</score-partwise>", ""]
    return "\n".join(lines).encode()


def _walk(random: Random) -> Iterator[int]:
    place = 35
    while True:
        yield place
        place = min(max(place + random.choice((-2, -1, -1, 1, 1, 2)), 26), 47)


def _note(random: Random, diatonic: int, count: int) -> str:
    octave, letter = divmod(diatonic, 7)
    step = "CDEFGAB"[letter]
    alter = random.choice((-1, 1)) if random.random() < 1 / 3 else int(step == "F")
    signed = alter != int(step == "F")
    beam = ("begin", "continue", "continue", "end")[count % 4]
    slur = "stop" if count % 2 else "start"
    return "\n".join(
        [
            f'      <note default-x="{20 + 18 * count}.25" default-y="-15.00">',
            "        <pitch>",
            f"          <step>{step}</step>",
            *([f"          <alter>{alter}</alter>"] if alter else []),
            f"          <octave>{octave}</octave>",
            "          </pitch>",
            "        <duration>1</duration>",
            "        <voice>1</voice>",
            "        <type>16th</type>",
            *([f"        <accidental>{_SIGNS[alter]}</accidental>"] if signed else []),
            "        <stem>up</stem>",
            f'        <beam number="1">{beam}</beam>',
            f'        <beam number="2">{beam}</beam>',
            "        <notations>",
            f'          <slur type="{slur}" number="1"/>',
            "          </notations>",
            "        </note>",
        ]
    )


@pytest.fixture(scope="module")
def score() -> bytes:
    return etude(NOTES)


@pytest.fixture(scope="module")
def long_score() -> bytes:
    return etude(10 * NOTES)


def test_lxml_parses(benchmark, score):
    root = benchmark(etree.fromstring, score)
    assert len(root.findall("part/measure/note")) == NOTES


def test_reads(benchmark, score):
    found = benchmark(read_bytes, score, "etude.musicxml")
    assert len(found.parts[0].notes) == NOTES
    assert len(found.parts[0].slurs) == NOTES // 2
    assert found.notices == ()


def test_reads_ten_times_the_notes(benchmark, long_score):
    found = benchmark.pedantic(read_bytes, (long_score, "etude.musicxml"), rounds=3)
    assert len(found.parts[0].notes) == 10 * NOTES


def test_music21_parses(benchmark):
    music21 = pytest.importorskip("music21")
    data = etude(NOTES // 10).decode()  # a tenth of the notes: it takes its time

    def parse():
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return music21.converter.parseData(data, format="musicxml")

    found = benchmark.pedantic(parse, rounds=1)
    assert len(found.recurse().notes) == NOTES // 10


def best_s(work: Callable[[], object], rounds: int = 9) -> float:
    """Return the shortest of some runs: the one that was disturbed least."""
    best = float("inf")
    for _ in range(rounds):
        gc.collect()
        started = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - started)
    return best


def test_reading_costs_few_parses(benchmark, score, long_score):
    if not benchmark.enabled:
        pytest.skip("times are measured with --benchmark-enable")
    for data in (score, long_score):
        parse_s = best_s(lambda data=data: etree.fromstring(data))
        read_s = best_s(lambda data=data: read_bytes(data, "etude.musicxml"))
        benchmark.extra_info[f"{len(data)} bytes"] = round(read_s / parse_s, 2)
        assert read_s < READING_TIMES_PARSING * parse_s
    benchmark.pedantic(lambda: None)
