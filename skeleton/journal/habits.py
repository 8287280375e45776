"""What comes back: from how notes were played, day by day, to a habit, or to nothing proved.

The rule
--------
The unit is a **day**: all takes of a day count as one, by their mean, for they share the hand and
the ear of that day. Of each note, group or name two things are asked:

* Direction: are there more days under the target than over it, or fewer, than a coin would give
  (:func:`~skeleton.journal.statistics.sign_test`)?
* Change: does the distance from the target grow or shrink in the course of the days
  (:func:`~skeleton.journal.statistics.trend_test`)?

Each p is adjusted for how many were looked at
(:func:`~skeleton.journal.statistics.holm`), within one family and one question: notes, groups and
fixed pitches are families by themselves. Each answer alone is wrong in at most one record of
twenty; a whole record gives several, so that of a hand that is off everywhere and by chance only,
one in five records says something somewhere (simulated, 400 seeds). For eight groups a habit
takes nine days in one direction, for sixty notes twelve: small numbers do not shout.

What is proved must matter as well. The verdicts of listening say so, which know tolerance, band
and uncertainty: of the times when one could tell, more than half must be off that way. A note that
lies three cents low every day is in tune every day, and no habit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final, Literal, Self

from skeleton.journal.records import Days
from skeleton.journal.statistics import holm, sign_test, trend_test

LEVEL: Final = 0.05
"""The chance of saying anything of a family of notes where nothing is; common practice."""

FEWEST_DAYS: Final = 5
"""Below this nothing is said of a note; no test could come out."""

FEWEST_OFF: Final = 3
"""Times a note must have been off before anything is made of it."""

Kind = Literal["all", "note", "group", "fixed"]

Condition = Literal[
    "habit",
    "getting worse",
    "getting better",
    "healed",
    "perhaps",
    "unsteady",
    "in order",
    "too few days",
]
"""habit: off in one direction again and again. healed: was off, and in the last third of the days
is not. perhaps: mostly off in one direction, and it may be chance. unsteady: mostly off, and of
that a quarter or more in either direction. in order: none of these could be shown."""

Direction = Literal["flat", "sharp"]


@dataclass(frozen=True, slots=True)
class Series:
    """What is looked at as one thing, day by day; ``subject`` is its name in its kind."""

    kind: Kind
    subject: str
    days: Days


@dataclass(frozen=True, slots=True)
class Finding:
    """What the days say of one subject.

    Attributes:
        kind: what it is.
        subject: its name in its kind: a note's id, a group's label, a pitch.
        days: days on which it was measured, ``times`` how often in all.
        days_below: days under the target, and ``days_above`` over it.
        in_tune: times found in tune; ``flat`` and ``sharp`` likewise; of the rest nobody could
            tell.
        median_cents: of the days' deviations; of the first third of the days ``early_cents``, of
            the last ``late_cents``.
        p_direction: chance of so uneven a count of days without a habit, adjusted; 0 to 1.
        p_change: chance of so clear a change without one, adjusted; 0 to 1.
        tau: Kendall's, of the distance from the target: -1 it shrinks all the way, 1 it grows.
        condition: the verdict on all this.
        direction: which way it is off, where it is one.
    """

    kind: Kind
    subject: str
    days: int
    times: int
    days_below: int
    days_above: int
    in_tune: int
    flat: int
    sharp: int
    median_cents: float
    early_cents: float
    late_cents: float
    p_direction: float
    p_change: float
    tau: float
    condition: Condition
    direction: Direction | None


def findings(family: Sequence[Series]) -> tuple[Finding, ...]:
    """Return what the days say of each series; the family is what the p are adjusted for.

    Series without a day are left out.
    """
    held = [series for series in family if series.days.days]
    directions = holm([sign_test(*_sides(one.days)) for one in held])
    trends = [trend_test([abs(cents) for cents in one.days.deviations_cents]) for one in held]
    changes = holm([p for _, p in trends])
    return tuple(
        _finding(one, p_direction, tau, p_change)
        for one, p_direction, (tau, _), p_change in zip(
            held, directions, trends, changes, strict=True
        )
    )


def thirds(count: int) -> int:
    """Return how many of so many days are the first or the last third: one at least."""
    return max(1, count // 3)


def _finding(series: Series, p_direction: float, tau: float, p_change: float) -> Finding:
    days = series.days
    below, above = _sides(days)
    count = len(days.days)
    third = thirds(count)
    whole, early, late = (
        _Judged.of(days, part) for part in (slice(None), slice(third), slice(count - third, None))
    )
    condition: Condition
    direction: Direction | None = None
    if count < FEWEST_DAYS:
        condition = "too few days"
    elif p_change <= LEVEL and tau < 0 and early.is_off:
        condition = "healed" if late.in_tune > late.off else "getting better"
        direction = early.way
    elif p_change <= LEVEL and tau > 0 and late.is_off:
        condition, direction = "getting worse", late.way
    elif p_direction <= LEVEL and whole.way == ("flat" if below > above else "sharp"):
        condition, direction = "habit", whole.way
    elif whole.is_off and 4 * min(whole.flat, whole.sharp) >= whole.off:
        condition = "unsteady"
    elif whole.is_off:
        condition, direction = "perhaps", "flat" if whole.flat > whole.sharp else "sharp"
    else:
        condition = "in order"
    cents = days.deviations_cents
    return Finding(
        kind=series.kind,
        subject=series.subject,
        days=count,
        times=sum(days.times),
        days_below=below,
        days_above=above,
        in_tune=whole.in_tune,
        flat=whole.flat,
        sharp=whole.sharp,
        median_cents=median(cents),
        early_cents=median(cents[:third]),
        late_cents=median(cents[-third:]),
        p_direction=p_direction,
        p_change=p_change,
        tau=tau,
        condition=condition,
        direction=direction,
    )


def _sides(days: Days) -> tuple[int, int]:
    """Days under the target, and days over it."""
    cents = days.deviations_cents
    return len([one for one in cents if one < 0]), len([one for one in cents if one > 0])


@dataclass(frozen=True, slots=True)
class _Judged:
    """Times found in tune, flat and sharp in some of the days."""

    in_tune: int
    flat: int
    sharp: int

    @classmethod
    def of(cls, days: Days, part: slice) -> Self:
        return cls(sum(days.in_tune[part]), sum(days.flat[part]), sum(days.sharp[part]))

    @property
    def off(self) -> int:
        return self.flat + self.sharp

    @property
    def is_off(self) -> bool:
        """Whether more than half of what one could tell is off, and that is not too little."""
        return self.off >= FEWEST_OFF and self.off > self.in_tune

    @property
    def way(self) -> Direction | None:
        """The direction in which more than half of what one could tell is off, if there is one."""
        for way, here, rest in (
            ("flat", self.flat, self.in_tune + self.sharp),
            ("sharp", self.sharp, self.in_tune + self.flat),
        ):
            if here >= FEWEST_OFF and here > rest:
                return "flat" if way == "flat" else "sharp"
        return None
