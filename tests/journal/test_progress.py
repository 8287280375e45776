"""What returns: students with known habits are told apart, and chance is not taken for habit."""

from __future__ import annotations

from collections import Counter
from random import Random
from types import ModuleType

import pytest

from skeleton.analysis.results import Analysis
from skeleton.journal.habits import Series, findings
from skeleton.journal.progress import GroupFinding, Progress, progress
from skeleton.journal.records import Days, Music

Etude = tuple[Analysis, Music]

HABITS = {
    "flat_by_15": "habit",
    "drifts_flat": "getting worse",
    "scatters": "unsteady",
    "improves": "healed",
    "no_habit": "in order",
}
"""What is to be said of the F sharps of a student who has this habit with them."""

MOST_WRONG = 0.05
"""The share of students of whom something else may be said, and of all the other groups anything:
the level of the tests, each family at 5 per cent."""


def record(etude: Etude, students: ModuleType, habit: str, seed: int, days: int = 20) -> Progress:
    analysis, music = etude
    habits = {"F#": getattr(students, habit)}
    rows = students.days_of(music, habits, seed, days)
    return progress(analysis, music.keys, "Ana", rows, takes=days)


def group(found: Progress, name: str) -> GroupFinding:
    return next(one for one in found.groups if str(one.group.pitch_class) == name)


def told_apart(etude: Etude, students: ModuleType, seeds: int) -> dict[str, Counter[str]]:
    """Return what is said of the group that has the habit; and, as ``others``, of any other."""
    said = {}
    for habit in HABITS:
        counts: Counter[str] = Counter()
        for seed in range(seeds):
            found = record(etude, students, habit, seed)
            counts[group(found, "F#").finding.condition] += 1
            others = [one for one in found.groups if str(one.group.pitch_class) != "F#"]
            counts["others"] += any(one.finding.condition != "in order" for one in others)
        said[habit] = counts
    return said


def test_few_students_are_told_apart(etude: Etude, students: ModuleType) -> None:
    for habit, counts in told_apart(etude, students, 8).items():
        assert counts[HABITS[habit]] >= 7, (habit, counts)
        assert counts["others"] <= 1


@pytest.mark.long
def test_students_are_told_apart(etude: Etude, students: ModuleType) -> None:
    for habit, counts in told_apart(etude, students, 200).items():
        assert counts[HABITS[habit]] >= 200 * (1 - MOST_WRONG), (habit, counts)
        assert counts["others"] <= 200 * MOST_WRONG


def shouts(found: Progress) -> tuple[bool, bool]:
    proved = {"habit", "getting worse", "getting better", "healed"}
    return (
        any(one.finding.condition in proved for one in found.groups),
        any(one.finding.condition in proved for one in found.notes),
    )


@pytest.mark.long
def test_chance_does_not_shout(etude: Etude, students: ModuleType) -> None:
    """A wild hand is off nearly always, so that nothing but the tests keeps the program quiet."""
    analysis, music = etude
    wild = dict.fromkeys(("F#", "G", "C#", "D", "Bb", "A", "G#"), students.scatters)
    heard = [
        shouts(
            progress(
                analysis, music.keys, "A", students.days_of(music, wild, seed, days), takes=days
            )
        )
        for days in (10, 20)
        for seed in range(200)
    ]
    rates = [sum(column) / len(heard) for column in zip(*heard, strict=True)]
    # Two questions are asked of each family, direction and change.
    assert max(rates) <= 2 * MOST_WRONG, rates


@pytest.mark.parametrize("seed", range(3))
def test_small_numbers_do_not_shout(etude: Etude, students: ModuleType, seed: int) -> None:
    few = record(etude, students, "flat_by_15", seed, days=4)
    assert {one.finding.condition for one in (*few.groups, *few.notes)} == {"too few days"}
    six = record(etude, students, "flat_by_15", seed, days=6)
    assert group(six, "F#").finding.condition == "perhaps"
    assert group(six, "F#").finding.direction == "flat"


def test_figures_of_a_group(etude: Etude, students: ModuleType) -> None:
    found = group(record(etude, students, "flat_by_15", 0), "F#").finding
    assert (found.kind, found.days, found.times) == ("group", 20, 80)
    assert found.days_below == 20
    assert found.days_above == 0
    # Four groups were looked at.
    assert found.p_direction == pytest.approx(4 * 2 / 2**20)
    assert found.direction == "flat"
    assert -18 < found.median_cents < -12


def made(deviations: list[float], verdicts: str) -> Series:
    """``verdicts``: one letter a day, i(n tune), f, s or c(annot tell)."""
    count = len(deviations)
    judged = (tuple(int(said == letter) for said in verdicts) for letter in "ifs")
    days = Days("n", tuple(range(count)), tuple(deviations), (1,) * count, *judged, (None,) * count)
    return Series("note", "n", days)


@pytest.mark.parametrize(
    ("deviations", "verdicts", "condition", "direction"),
    [
        # Three cents low every day: as sure as can be, and in tune.
        ([-3.0 - day % 2 / 8 for day in range(20)], "i" * 20, "in order", None),
        ([-12.0 + day % 3 for day in range(20)], "f" * 20, "habit", "flat"),
        ([12.0 + day % 3 for day in range(20)], "s" * 20, "habit", "sharp"),
        # Nobody could tell, twenty times.
        ([-12.0 + day % 3 for day in range(20)], "c" * 20, "in order", None),
        ([-12.0 + day % 3 for day in range(20)], "c" * 17 + "fff", "habit", "flat"),
        ([20.0, -20.0] * 10, "sf" * 10, "unsteady", None),
        ([30.0 - day for day in range(20)], "s" * 20, "getting better", "sharp"),
        ([24.0 - day for day in range(20)], "s" * 12 + "i" * 8, "healed", "sharp"),
        ([-5.0 - day for day in range(20)], "i" * 5 + "f" * 15, "getting worse", "flat"),
        ([-12.0] * 4, "ffff", "too few days", None),
    ],
)
def test_conditions(
    deviations: list[float], verdicts: str, condition: str, direction: str | None
) -> None:
    (found,) = findings([made(deviations, verdicts)])
    assert (found.condition, found.direction) == (condition, direction)


def test_each_note_that_is_looked_at_asks_for_more() -> None:
    one = made([-12.0 + day % 3 for day in range(8)], "f" * 8)
    assert findings([one])[0].condition == "habit"
    assert {each.condition for each in findings([one] * 20)} == {"perhaps"}


def octaves(etude: Etude, apart_cents: list[float], seed: int = 0) -> Progress:
    """Return the record of days on which F sharp 5 lay so far over F sharp 4."""
    analysis, music = etude
    chance = Random(seed)
    count = len(apart_cents)
    rows = [
        Days(
            key,
            tuple(range(1000, 1000 + count)),
            tuple(chance.gauss(0, 1) + apart * ("F#5" in key) for apart in apart_cents),
            (1,) * count,
            (1,) * count,
            (0,) * count,
            (0,) * count,
            (90.0,) * count,
        )
        for key in music.keys.values()
    ]
    return progress(analysis, music.keys, "Ana", rows, takes=len(apart_cents))


def test_octaves(etude: Etude) -> None:
    nearer = group(octaves(etude, [20.0 - day for day in range(20)]), "F#")
    assert nearer.octaves == "closer"
    assert nearer.early_spread_cents == pytest.approx(17, abs=2)
    assert nearer.late_spread_cents == pytest.approx(4, abs=2)
    assert [octave for octave, _ in nearer.by_octave] == [4, 5]
    assert dict(nearer.by_octave)[5] == pytest.approx(10.5, abs=1.5)
    assert group(octaves(etude, [float(day) for day in range(20)]), "F#").octaves == "further apart"
    assert group(octaves(etude, [10.0] * 20), "F#").octaves == "no change shown"
    assert group(octaves(etude, [10.0] * 4), "F#").octaves == "too few days"


def test_leans_and_fixed_notes(etude: Etude, students: ModuleType) -> None:
    found = record(etude, students, "flat_by_15", 0)
    lean = next(one for one in found.leans if str(one.pitch_class) == "F#")
    assert lean.text == "half step below G"
    # The students' F sharp hangs 90.2 cents under G, and 15 more when it is 15 flat.
    assert lean.cents == pytest.approx(105.2, abs=2)
    assert lean.half_width_cents < 3
    assert [one.subject for one in found.fixed] == ["A3", "D4", "G4", "A4", "D5", "G5", "A5"]
    assert {one.condition for one in found.fixed} == {"in order"}
    low = record_with(etude, students, {"A3": students.flat_by_15})
    assert {one.subject: one.condition for one in low.fixed}["A3"] == "habit"


def record_with(etude: Etude, students: ModuleType, habits: dict) -> Progress:
    analysis, music = etude
    return progress(analysis, music.keys, "A", students.days_of(music, habits, 3), takes=20)


def test_everything_flat_is_one_finding_more(etude: Etude, students: ModuleType) -> None:
    everything = dict.fromkeys(("F#", "G", "C#", "D", "Bb", "A", "G#"), students.flat_by_15)
    whole = record_with(etude, students, everything).whole
    assert whole is not None
    assert (whole.condition, whole.direction) == ("habit", "flat")
    assert record(etude, students, "flat_by_15", 0).whole.condition == "in order"


def test_nothing_held(etude: Etude) -> None:
    analysis, music = etude
    found = progress(analysis, music.keys, "Ana", [], takes=0)
    assert (found.notes, found.groups, found.whole, found.first_day) == ((), (), None, "")


def test_notes_of_another_reading_are_counted(etude: Etude) -> None:
    analysis, music = etude
    rows = [Days("9:0:C4", (1000,), (1.0,), (1,), (1,), (0,), (0,), (None,))]
    assert progress(analysis, music.keys, "Ana", rows, takes=1).unknown_notes == 1
