"""What a handout costs beside the engraving of its parts, and many in two processes beside one."""

from __future__ import annotations

import os
import subprocess
import sys
from time import perf_counter
from typing import Final

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.make import handout
from skeleton.score.reading import read_bytes

NOTES: Final = 64 * 16
RATIO: Final = 2.0
START_S: Final = 1.0
ETUDES: Final = 100
SHARE: Final = 0.6


class _Timed(Engraver):
    """An engraver that knows how long it worked."""

    spent_s = 0.0

    def engrave(self, *given, **named):
        started = perf_counter()
        try:
            return super().engrave(*given, **named)
        finally:
            self.spent_s += perf_counter() - started


@pytest.fixture(scope="module")
def analysis(etude):
    return analyse(read_bytes(etude(NOTES), "etude.musicxml"))


def test_handout(benchmark, analysis) -> None:
    with Engraver() as engraver:
        made = benchmark.pedantic(handout, (analysis, None, engraver), rounds=3)
    assert made.data.startswith(b"%PDF")


def test_a_handout_stays_under_twice_its_engraving_and_a_second(against, analysis) -> None:
    with _Timed() as engraver:
        handout(analysis, None, engraver)  # libraries loaded, fonts read
        best_s, engraving_s = float("inf"), 0.0
        for _ in range(5):
            engraver.spent_s = 0.0
            started = perf_counter()
            handout(analysis, None, engraver)
            taken_s = perf_counter() - started
            if taken_s < best_s:
                best_s, engraving_s = taken_s, engraver.spent_s
    against.row(
        "a handout of 64 measures, less a second",
        "the engraving of its parts",
        (best_s - START_S) / engraving_s,
        RATIO,
    )


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="needs two cores")
def test_two_processes_share_the_work(against, etude, tmp_path) -> None:
    scores = tmp_path / "scores"
    scores.mkdir()
    for number in range(ETUDES):
        (scores / f"{number:03}.musicxml").write_bytes(etude(128, seed=number))
    taken_s = {}
    for jobs in ("1", "2"):
        command = [
            sys.executable, "-m", "skeleton", "handout", str(scores), "--output-dir",
            str(tmp_path / jobs), "--jobs", jobs, "--quiet",
        ]  # fmt: skip
        started = perf_counter()
        subprocess.run(command, check=True)
        taken_s[jobs] = perf_counter() - started
    against.row("100 handouts in two processes", "in one", taken_s["2"] / taken_s["1"], SHARE)
