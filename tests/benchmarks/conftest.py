"""Benchmarks: the music they run on, and the table of what was measured against what.

Times are measured with ``--benchmark-enable`` and never in the everyday run, which only sees that
the benchmarks work. Every row is a ratio to a named baseline, measured in the same run on the
same machine, and has a goal or says that none was set beforehand; the table of all rows stands at
the end of the run.
"""

from __future__ import annotations

import gc
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from random import Random
from time import perf_counter
from typing import Final, NamedTuple

import pytest

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


@pytest.fixture(scope="session", name="etude")
def etude_by_rule() -> Callable[[int], bytes]:
    """An etude made by rule: sixteenths slurred two by two, every third note altered."""
    return etude


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table."""

    what: str
    baseline: str
    ratio: float
    at_most: float | None

    @property
    def reached(self) -> bool | None:
        """Whether the goal is reached; None without one."""
        return None if self.at_most is None else self.ratio <= self.at_most

    def __str__(self) -> str:
        goal = "" if self.at_most is None else f"at most {self.at_most:g}"
        mark = {True: "reached", False: "NOT REACHED", None: "no goal set"}[self.reached]
        return f"{goal}  {mark}".lstrip()


_ROWS: list[Row] = []


def best_s(work: Callable[[], object], rounds: int) -> float:
    """Return the shortest of some runs: the one that was disturbed least."""
    best = float("inf")
    for _ in range(rounds):
        gc.collect()
        started = perf_counter()
        work()
        best = min(best, perf_counter() - started)
    return best


@dataclass(frozen=True, slots=True)
class Against:
    """Measures work against a baseline, and keeps the row."""

    def __call__(
        self,
        what: str,
        work: Callable[[], object],
        baseline: str,
        base: Callable[[], object],
        *,
        at_most: float | None,
        rounds: int = 7,
    ) -> None:
        """Assert that ``work`` takes at most so many times as long as ``base``; None: no goal.

        Both are run in turn, so that a machine that slows down slows both.
        """
        work_s = base_s = float("inf")
        for _ in range(rounds):
            base_s = min(base_s, best_s(base, 1))
            work_s = min(work_s, best_s(work, 1))
        self.row(what, baseline, work_s / base_s, at_most)

    def row(self, what: str, baseline: str, ratio: float, at_most: float | None) -> None:
        """Keep a ratio that was measured, and assert that it reaches its goal if it has one."""
        row = Row(what, baseline, ratio, at_most)
        _ROWS.append(row)
        assert row.reached is not False, f"{ratio:.3g} x {baseline}: {row}"


@pytest.fixture
def against(request: pytest.FixtureRequest) -> Against:
    """How to measure one thing against another; skips where times are not measured."""
    if not request.config.option.benchmark_enable:
        pytest.skip("times are measured with --benchmark-enable")
    return Against()


# --- the program in a process of its own

# Linux hands the peak of the process that starts another down to it, so its own is asked for.
_PEAK: Final = """
import sys, time
from skeleton.cli.app import app
def peak_kb():
    if sys.platform == "linux":
        with open("/proc/self/status") as status:
            return next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
    import resource
    unit = 1024 if sys.platform == "darwin" else 1
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // unit
try: app()
finally: print(time.process_time(), peak_kb(), file=sys.stderr)
"""


class Asked(NamedTuple):
    """What a command took, starting the program included, and what it said.

    ``processor_s`` is the time of all its threads, which other work on the machine hardly changes.
    """

    seconds: float
    processor_s: float
    megabytes: float
    said: str


def ask(*arguments: str | Path) -> Asked:
    """Run ``skeleton`` with these arguments as a user does."""
    root = Path(__file__).parents[2]
    started = perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", _PEAK, *arguments],
        capture_output=True, text=True, check=True, env={**os.environ, "PYTHONPATH": str(root)},
    )  # fmt: skip
    seconds = perf_counter() - started
    processor_s, peak_kb = done.stderr.split()[-2:]
    return Asked(seconds, float(processor_s), int(peak_kb) / 1024, done.stdout)


@pytest.fixture(scope="session")
def asked() -> Callable[..., Asked]:
    """How to run the program in a process of its own, for its time and its peak of memory."""
    if sys.platform == "win32":
        pytest.skip("no resource module")
    return ask


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the table."""
    if not _ROWS:
        return
    terminalreporter.section("ratios")
    width = max(len(row.what) for row in _ROWS)
    base = max(len(row.baseline) for row in _ROWS)
    for row in _ROWS:
        terminalreporter.write_line(
            f"{row.what:{width}}  {row.ratio:8.2f} x {row.baseline:{base}}  {row}"
        )
