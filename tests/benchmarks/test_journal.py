"""What a journal of 100,000 takes costs to ask, however they are spread; a small one works."""

from __future__ import annotations

from pathlib import Path

import pytest

from skeleton.journal.content import content_id, note_keys
from skeleton.journal.database import Journal
from skeleton.journal.schema import MIGRATIONS
from skeleton.score.reading import read

SCORE = Path(__file__).parents[2] / "scores" / "first-skeleton.musicxml"
GOAL_S = 2.0
GOAL_MB = 200.0
PROGRESS = ("progress", SCORE, "-q", "--journal")

# Every fifth note lies 20 cents low; all scatter by up to 12 cents, by a rule that looks like none.
# In the order in which they lie on disk.
MEASURED = """
INSERT INTO measurement
SELECT student, etude, note, day, take, 1, cents, 3.0,
       CASE WHEN cents > 11 THEN 1 WHEN cents < -11 THEN 2 ELSE 0 END, 90.0 - cents, 0.9
FROM (
    SELECT s.id AS student, e.id AS etude, n.id AS note, t.day, t.id AS take,
           ((n.id * t.id * 48271 + t.id * t.id * 69621) % 1999 - 999) / 83.0
           - 20.0 * (n.id % 5 = 0) AS cents
    FROM student AS s CROSS JOIN etude AS e CROSS JOIN note AS n ON n.etude = e.id
    CROSS JOIN take AS t ON t.etude = e.id AND t.student = s.id
    ORDER BY s.id, e.id, n.id, t.day
)
"""

SUMS = """
INSERT INTO note_stretch
SELECT m.student, m.etude, m.note, m.day - m.day % coalesce(s.days, 1), count(*),
       sum(deviation_cents), sum(verdict = 0), sum(verdict = 2), sum(verdict = 1),
       count(lean_cents), sum(lean_cents)
FROM measurement AS m LEFT JOIN stretch AS s ON s.student = m.student AND s.etude = m.etude
GROUP BY m.student, m.etude, m.note, m.day - m.day % coalesce(s.days, 1)
"""


def fill(path: Path, students: int, etudes: int, takes: int) -> int:
    """Write a journal straight into its tables, one take a day; return the number of takes."""
    score = read(SCORE)
    keys = list(note_keys(score).values())
    with Journal(path) as journal, journal.together():
        run = journal.connection
        run.executemany(
            "INSERT INTO student VALUES (?, ?)", [(n, f"S{n}") for n in range(1, students + 1)]
        )
        for etude in range(1, etudes + 1):
            identity = content_id(score) if etude == 1 else f"{etude:064x}"
            run.execute("INSERT INTO etude VALUES (?, ?, 'Made')", (etude, identity))
            run.executemany(
                "INSERT INTO note (etude, key) VALUES (?, ?)", [(etude, key) for key in keys]
            )
        take = 0
        for student in range(1, students + 1):
            for etude in range(1, etudes + 1):
                for day in range(739000, 739000 + takes):
                    take += 1
                    run.execute(
                        "INSERT INTO take VALUES (?, ?, ?, '2024-01-01', ?, 'x.wav', ?)",
                        (take, student, etude, day, str(take)),
                    )
        run.execute(MEASURED)
        # The stretches, as the step makes them that brought earlier journals here.
        run.execute("DROP TABLE stretch")
        for statement in MIGRATIONS[4].split(";")[:2]:
            run.execute(statement)
        run.execute(SUMS)
    return take


def test_a_small_journal(asked, tmp_path: Path) -> None:
    assert fill(tmp_path / "j.sqlite", students=2, etudes=2, takes=20) == 80
    said = asked(*PROGRESS, tmp_path / "j.sqlite").said
    assert "S1: 20 takes" in said
    assert "flat again and again" in said


def test_the_peak_is_the_childs_own(asked, tmp_path: Path) -> None:
    fill(tmp_path / "j.sqlite", students=1, etudes=1, takes=2)
    ballast = bytearray(b"x") * 300_000_000
    megabytes = asked(*PROGRESS, tmp_path / "j.sqlite").megabytes
    assert megabytes < len(ballast) / 2**20 / 2


@pytest.mark.parametrize(
    ("shape", "said"),
    [
        ((40, 25, 100), "S40: 100 takes"),
        ((40, 1, 2500), "S40: 2500 takes"),
        ((1000, 1, 100), "960 students more"),
        ((1, 1, 100_000), "S1: 100000 takes"),
    ],
)
def test_a_hundred_thousand_takes(
    against, asked, tmp_path: Path, shape: tuple[int, int, int], said: str
) -> None:
    """So many students, etudes and takes of 118 notes; asked for all students of one etude."""
    path = tmp_path / "j.sqlite"
    try:
        assert fill(path, *shape) == 100_000
        runs = [asked(*PROGRESS, path) for _ in range(3)]
    finally:
        path.unlink(missing_ok=True)
    assert said in runs[0].said
    name = f"progress, {' x '.join(map(str, shape))} takes"
    against.row(f"{name}: memory", "200 MB", runs[0].megabytes / GOAL_MB, 1.0)
    against.row(f"{name}: time", "2 s", min(one.seconds for one in runs) / GOAL_S, 1.0)
