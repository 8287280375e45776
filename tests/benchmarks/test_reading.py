"""What reading costs, beside lxml's own parse of the same bytes and beside music21."""

from __future__ import annotations

import subprocess
import sys
import warnings
from pathlib import Path
from typing import Final

import pytest
from lxml import etree

from skeleton.score.reading import read_bytes

NOTES: Final = 5_000


@pytest.fixture(scope="module")
def score(etude) -> bytes:
    return etude(NOTES)


def test_lxml_parses(benchmark, score):
    root = benchmark(etree.fromstring, score)
    assert len(root.findall("part/measure/note")) == NOTES


def test_reads(benchmark, score):
    found = benchmark(read_bytes, score, "etude.musicxml")
    assert len(found.parts[0].notes) == NOTES
    assert len(found.parts[0].slurs) == NOTES // 2
    assert found.notices == ()


def test_reading_costs_few_parses(against, score):
    against(
        "read 5,000 notes",
        lambda: read_bytes(score, "etude.musicxml"),
        "lxml's parse",
        lambda: etree.fromstring(score),
        at_most=5,
    )


def test_reading_grows_with_the_notes(against, score, etude):
    long_score = etude(10 * NOTES)
    against(
        "read 50,000 notes",
        lambda: read_bytes(long_score, "etude.musicxml"),
        "reading 5,000",
        lambda: read_bytes(score, "etude.musicxml"),
        at_most=11,
        rounds=3,
    )


_PEAK: Final = """
import sys
from pathlib import Path
from lxml import etree
from skeleton.score.reading import read_bytes

def most():
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0])

data = Path(sys.argv[1]).read_bytes()
small = Path(sys.argv[2]).read_bytes()
work = {"read": lambda each: read_bytes(each, "etude.musicxml"), "parse": etree.fromstring}
work[sys.argv[3]](small)
before = most()
found = work[sys.argv[3]](data)
print(most() - before)
"""


def test_reading_takes_less_memory_than_a_tree(against, etude, tmp_path):
    """The most memory in use at once, over that of a program that has read a few notes."""
    if not Path("/proc/self/status").exists():
        pytest.skip("the kernel does not say what a process has used")
    files = [tmp_path / "large.musicxml", tmp_path / "small.musicxml"]
    files[0].write_bytes(etude(10 * NOTES))
    files[1].write_bytes(etude(100))

    def peak_kb(what: str) -> int:
        command = [sys.executable, "-c", _PEAK, *map(str, files), what]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        return int(done.stdout)

    against.row("memory: read 50,000 notes", "lxml's tree", peak_kb("read") / peak_kb("parse"), 0.5)


def test_reading_and_analysing_is_faster_than_another_readers_parse(against, etude):
    from music21 import converter

    from skeleton.analysis.analyse import analyse

    data = etude(NOTES)

    def parse() -> object:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return converter.parseData(data.decode(), format="musicxml")

    against(
        "read and analyse 5,000 notes",
        lambda: analyse(read_bytes(data, "etude.musicxml")),
        "music21's parse",
        parse,
        at_most=0.25,
        rounds=2,
    )
