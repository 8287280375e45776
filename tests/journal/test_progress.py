"""What returns: students with known habits are told apart, and chance is not taken for habit."""

from __future__ import annotations

from collections import Counter
from random import Random
from types import ModuleType

import pytest
from scipy import stats

from skeleton.analysis.results import Analysis
from skeleton.journal.habits import Series, findings
from skeleton.journal.progress import GroupFinding, Progress, progress
from skeleton.journal.records import Days, Heard, Music

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
the level of the tests, for a whole record."""


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


PROVED = {"habit", "getting worse", "getting better", "healed"}


def says_something(found: Progress) -> bool:
    """Whether the record says anything at all that is not called doubtful."""
    everything = [
        *([found.whole] if found.whole else []),
        *(one.finding for one in found.groups),
        *(one.finding for one in found.notes),
        *found.fixed,
    ]
    return (
        any(one.condition in PROVED for one in everything)
        or any(one.octaves in ("closer", "further apart") for one in found.groups)
        or found.ear.bias is not None
    )


def by_chance(etude: Etude, students: ModuleType, days: int, seed: int) -> Progress:
    """A wild hand: off nearly always, so that nothing but the tests keeps the program quiet."""
    analysis, music = etude
    wild = dict.fromkeys(("F#", "G", "C#", "D", "Bb", "A", "G#"), students.scatters)
    rows = students.days_of(music, wild, seed, days)
    chance = Random(f"ear {seed}")
    heard = [
        Heard(one.note, day, cents, 3.0, chance.choice(("flat" if cents < 0 else "sharp", None)))
        for one in rows
        for day, cents in zip(one.days, one.deviations_cents, strict=True)
        if day % 4 == 0
    ]
    return progress(analysis, music.keys, "A", rows, takes=days, heard=heard)


def too_many(hits: int, of: int) -> float:
    """The chance of as many hits where each comes at the level of the tests."""
    return stats.binomtest(hits, of, MOST_WRONG, alternative="greater").pvalue


@pytest.mark.long
@pytest.mark.parametrize("days", [5, 8, 12, 20, 40])
def test_chance_does_not_shout(etude: Etude, students: ModuleType, days: int) -> None:
    """Of records of chance alone, one in twenty says anything at all, whatever it is."""
    said = sum(says_something(by_chance(etude, students, days, seed)) for seed in range(400))
    assert too_many(said, 400) > 0.001, said


def test_chance_hardly_ever_speaks(etude: Etude, students: ModuleType) -> None:
    said = sum(says_something(by_chance(etude, students, 10, seed)) for seed in range(40))
    assert too_many(said, 40) > 0.001, said


@pytest.mark.parametrize("seed", range(3))
def test_small_numbers_do_not_shout(etude: Etude, students: ModuleType, seed: int) -> None:
    few = record(etude, students, "flat_by_15", seed, days=4)
    assert {one.finding.condition for one in (*few.groups, *few.notes)} == {"too few days"}
    five = record(etude, students, "drifts_flat", seed, days=5)
    assert group(five, "F#").finding.condition == "perhaps"
    assert group(five, "F#").finding.direction == "flat"


@pytest.mark.parametrize(
    ("habit", "days", "at_least"),
    # Of 200 students: 200, 108, 193, 200, 112, 193, 200.
    [
        ("flat_by_15", 5, 0.98),
        ("drifts_flat", 6, 0.45),
        ("drifts_flat", 8, 0.85),
        ("drifts_flat", 12, 0.98),
        ("improves", 6, 0.45),
        ("improves", 8, 0.85),
        ("improves", 12, 0.98),
    ],
)
@pytest.mark.long
def test_a_habit_is_found_in_few_takes(
    etude: Etude, students: ModuleType, habit: str, days: int, at_least: float
) -> None:
    found = [
        group(record(etude, students, habit, seed, days), "F#").finding.condition
        for seed in range(200)
    ]
    assert sum(one == HABITS[habit] for one in found) >= 200 * at_least


def test_figures_of_a_group(etude: Etude, students: ModuleType) -> None:
    found = group(record(etude, students, "flat_by_15", 0), "F#").finding
    assert (found.kind, found.days, found.times) == ("group", 20, 80)
    assert found.days_below == 20
    assert found.days_above == 0
    # Under what the sign test alone gives, twenty of twenty.
    assert found.p_direction < 2 / 2**20
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
    ((found,),) = findings([[made(deviations, verdicts)]]).lists
    assert (found.condition, found.direction) == (condition, direction)


# Twelve flat days and a very sharp one: the mean says nothing, the signs do.
UNEVEN = [-12.0 + day % 3 for day in range(12)] + [80.0]


def conditions(lists: list[list[Series]], others: list[list[float]] | None = None) -> set[str]:
    found = findings(lists, others or [])
    return {one.condition for each in found.lists for one in each}


def test_each_note_that_is_looked_at_asks_for_more() -> None:
    one = made(UNEVEN, "f" * 12 + "s")
    assert conditions([[one]]) == {"habit"}
    assert conditions([[one] * 20]) == {"perhaps"}


def test_each_list_that_is_looked_at_asks_for_more() -> None:
    one = made(UNEVEN, "f" * 12 + "s")
    assert conditions([[one]]) == {"habit"}
    assert conditions([[one]], [[0.5]] * 20) == {"perhaps"}
    # A long list that says nothing costs no more than a short one.
    assert conditions([[one]], [[0.5] * 500]) == {"habit"}


def test_what_is_in_tune_is_not_asked_and_costs_nothing() -> None:
    one = made(UNEVEN, "f" * 12 + "s")
    fine = made([3.0, -3.0] * 6 + [3.0], "i" * 13)
    found = findings([[one, *[fine] * 50]])
    assert found.lists[0][0].condition == "habit"
    assert (found.lists[0][1].p_direction, found.lists[0][1].p_change) == (1, 1)
    assert found.lists[0][0].p_direction == findings([[one]]).lists[0][0].p_direction


def test_days_that_are_all_alike_are_not_taken_for_certain() -> None:
    """As if each day had scattered by a cent."""
    ((found,),) = findings([[made([-12.0] * 5, "f" * 5)]]).lists
    expected = stats.t.sf(12 * 5**0.5, 4) * 2
    # Asked in two ways, and of the direction and of the change.
    assert found.p_direction == pytest.approx(2 * 2 * expected)
    assert found.condition == "habit"


def test_other_questions_are_adjusted_as_well() -> None:
    assert findings([], [[0.01, 0.04], []]).others == ((0.02, 0.04), ())


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
