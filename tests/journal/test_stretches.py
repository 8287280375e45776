"""A long record in stretches: few, the same in whatever order the takes came, and none lost."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from random import Random

import pytest

from skeleton.analysis.results import Analysis
from skeleton.journal.database import Journal
from skeleton.journal.records import Days, Music
from skeleton.journal.schema import MIGRATIONS
from skeleton.journal.stretches import MOST
from skeleton.journal.take import MeasuredNote, MeasuredTake

Etude = tuple[Analysis, Music]
FIRST = date(2020, 3, 1).toordinal()


def taken(music: Music, day: int) -> MeasuredTake:
    """Return a take of that day of two notes, the second only on even days."""
    notes = list(music.keys)[: 2 - day % 2]
    cents = (day * 7) % 41 - 20.0
    said = "flat" if cents < -8 else "sharp" if cents > 8 else "in tune"
    return MeasuredTake(
        date.fromordinal(day).isoformat(),
        tuple(MeasuredNote(note, cents, 2.0, said, 90.0 - cents) for note in notes),
        f"{day}.wav",
    )


def kept(path: Path, music: Music, days: list[int]) -> tuple[tuple[Days, ...], int]:
    with Journal(path) as journal, journal.together():
        for day in days:
            assert journal.record("Ana", music, taken(music, day))
        (held,) = journal.holdings()
        assert held.takes == len(days)
        return journal.days("Ana", music.content), held.stretch_days


@pytest.mark.parametrize(
    ("days", "stretch"),
    [
        (range(FIRST, FIRST + MOST), 1),
        # 65 days: in pairs.
        (range(FIRST, FIRST + MOST + 1), 2),
        # A year of days: 46 stretches of eight.
        (range(FIRST, FIRST + 365), 8),
        # Two years of Mondays and Thursdays.
        ([FIRST + 7 * week + more for week in range(104) for more in (0, 3)], 16),
        # Two takes, a lifetime between them, are no long record.
        ([FIRST, FIRST + 30_000], 1),
    ],
)
def test_length(tmp_path: Path, etude: Etude, days: list[int], stretch: int) -> None:
    music = etude[1]
    rows, found = kept(tmp_path / "j", music, list(days))
    assert found == stretch
    assert len({day // stretch for day in days}) <= MOST
    assert stretch == 1 or len({2 * day // stretch for day in days}) > MOST
    expected: dict[int, list[float]] = {}
    for day in days:
        expected.setdefault(day - day % stretch, []).append((day * 7) % 41 - 20.0)
    first = next(row for row in rows if row.note == next(iter(music.keys.values())))
    assert first.days == tuple(expected)
    assert first.times == tuple(len(of) for of in expected.values())
    assert first.deviations_cents == pytest.approx([sum(of) / len(of) for of in expected.values()])
    assert first.leans_cents == pytest.approx([90 - sum(of) / len(of) for of in expected.values()])
    assert first.flat == tuple(sum(one < -8 for one in of) for of in expected.values())
    assert first.sharp == tuple(sum(one > 8 for one in of) for of in expected.values())
    assert first.in_tune == tuple(sum(abs(one) <= 8 for one in of) for of in expected.values())


def test_order_does_not_matter(tmp_path: Path, etude: Etude) -> None:
    days = list(range(FIRST, FIRST + 300, 2)) + list(range(FIRST + 5000, FIRST + 5040))
    in_order = kept(tmp_path / "a", etude[1], days)
    for seed in range(3):
        Random(seed).shuffle(days)
        assert kept(tmp_path / f"b{seed}", etude[1], days) == in_order


def test_an_earlier_journal_is_brought_to_the_same(tmp_path: Path, etude: Etude) -> None:
    days = list(range(FIRST, FIRST + 200, 3))
    before = kept(tmp_path / "j", etude[1], days)
    with Journal(tmp_path / "j") as journal:
        run = journal.connection
        tables = ("stretch", "note_stretch")
        now = [run.execute(f"SELECT * FROM {name}").fetchall() for name in tables]
        assert now[0] == [(1, 1, 4)]
        for name in tables:
            run.execute(f"DROP TABLE {name}")
        run.executescript(";".join(MIGRATIONS[3:5]))
        assert [run.execute(f"SELECT * FROM {name}").fetchall() for name in tables] == now
        assert journal.days("Ana", etude[1].content) == before[0]


def test_each_record_has_its_own(tmp_path: Path, etude: Etude) -> None:
    music = etude[1]
    other = Music("ab" * 32, None, music.keys)
    with Journal(tmp_path / "j") as journal, journal.together():
        for day in range(FIRST, FIRST + 100):
            journal.record("Ana", music, taken(music, day))
        journal.record("Ana", other, taken(other, FIRST))
        journal.record("Bo", music, taken(music, FIRST))
        held = {(one.student, one.content): one.stretch_days for one in journal.holdings()}
        assert held == {
            ("Ana", music.content): 2, ("Ana", other.content): 1, ("Bo", music.content): 1
        }  # fmt: skip
    with Journal(tmp_path / "j") as journal:
        assert journal.forget("Ana") == 101
        assert journal.connection.execute("SELECT count(*) FROM stretch").fetchone() == (0,)
        assert len(journal.days("Bo", music.content)) == 2 - FIRST % 2


def test_takes_of_a_stretch_that_is_there_already(tmp_path: Path, etude: Etude) -> None:
    music = etude[1]
    even = FIRST - FIRST % 2
    days = list(range(even, even + 2 * MOST, 2))
    _, stretch = kept(tmp_path / "a", music, days)
    rows, again = kept(tmp_path / "b", music, [*days, *(day + 1 for day in days)])
    assert (stretch, again) == (1, 2)
    assert sum(rows[0].times) == 2 * MOST
