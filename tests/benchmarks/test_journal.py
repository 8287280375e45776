"""What a journal of 100,000 takes costs to ask; and that asking a small one works."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from random import Random
from time import perf_counter

import pytest

from skeleton.journal.content import content_id, note_keys
from skeleton.journal.database import Journal
from skeleton.journal.schema import MIGRATIONS
from skeleton.score.reading import read

SCORE = Path(__file__).parents[2] / "scores" / "first-skeleton.musicxml"
GOAL_S = 2.0
GOAL_MB = 200.0


def fill(path: Path, students: int, etudes: int, takes: int) -> int:
    """Write a journal straight into its tables, one take a day; return the number of takes."""
    score = read(SCORE)
    keys, random = list(note_keys(score).values()), Random(1)
    verdicts = [2 if cents < -11 else 1 if cents > 11 else 0 for cents in range(-60, 61)]
    with Journal(path) as journal, journal.together():
        run = journal.connection
        run.executemany(
            "INSERT INTO student VALUES (?, ?)", [(n, f"S{n}") for n in range(1, students + 1)]
        )
        notes = 0
        for etude in range(1, etudes + 1):
            identity = content_id(score) if etude == 1 else f"{etude:064x}"
            run.execute("INSERT INTO etude VALUES (?, ?, 'Made')", (etude, identity))
            run.executemany(
                "INSERT INTO note VALUES (?, ?, ?)",
                [(notes + place, etude, key) for place, key in enumerate(keys, start=1)],
            )
            notes += len(keys)
        take = 0
        for student in range(1, students + 1):
            for etude in range(1, etudes + 1):
                first = take
                for day in range(takes):
                    take += 1
                    run.execute(
                        "INSERT INTO take VALUES (?, ?, ?, '2024-01-01', ?, 'x.wav', ?)",
                        (take, student, etude, 739000 + day, str(take)),
                    )
                for note in range((etude - 1) * len(keys) + 1, etude * len(keys) + 1):
                    lean = -20 if note % 5 == 0 else 0
                    rows = []
                    for day in range(takes):
                        cents = max(-60.0, min(60.0, random.gauss(lean, 6)))
                        rows.append(
                            (student, etude, note, 739000 + day, first + day + 1, 1, cents, 3.0,
                             verdicts[round(cents) + 60], 90.0 - cents, 0.9)
                        )  # fmt: skip
                    run.executemany(
                        "INSERT INTO measurement VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", rows
                    )
        run.execute("DROP TABLE note_day")
        for statement in MIGRATIONS[3].split(";")[:2]:
            run.execute(statement)
    return take


PEAK = (
    "import resource, sys; from skeleton.cli.app import app\n"
    "try: app()\n"
    "finally: print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)"
)


def ask(path: Path) -> tuple[float, float, str]:
    """Run ``skeleton progress`` as a user does; return seconds, megabytes and what it said."""
    root = SCORE.parents[1]
    started = perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", PEAK, "progress", SCORE, "--journal", path, "-q"],
        capture_output=True, text=True, check=True, env={**os.environ, "PYTHONPATH": str(root)},
    )  # fmt: skip
    unit = 1024 if sys.platform == "darwin" else 1
    return (
        perf_counter() - started,
        int(done.stderr.split()[-1]) / unit / 1024,
        done.stdout,
    )


@pytest.mark.skipif(sys.platform == "win32", reason="no resource module")
def test_a_small_journal(tmp_path: Path) -> None:
    assert fill(tmp_path / "j.sqlite", students=2, etudes=2, takes=20) == 80
    _, _, said = ask(tmp_path / "j.sqlite")
    assert "S1: 20 takes" in said
    assert "flat again and again" in said


@pytest.mark.skipif(sys.platform == "win32", reason="no resource module")
def test_a_hundred_thousand_takes(against, tmp_path: Path) -> None:
    """Forty students, 25 etudes, a hundred takes each, of 118 notes; asked for all forty."""
    assert fill(tmp_path / "j.sqlite", students=40, etudes=25, takes=100) == 100_000
    runs = [ask(tmp_path / "j.sqlite") for _ in range(3)]
    assert "S40: 100 takes" in runs[0][2]
    against.row("progress, 100,000 takes: time", "2 s", min(one[0] for one in runs) / GOAL_S, 1.0)
    against.row("progress, 100,000 takes: memory", "200 MB", runs[0][1] / GOAL_MB, 1.0)
