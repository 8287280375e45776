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
(:func:`~skeleton.journal.statistics.holm`), notes and groups apart: among all the notes of a
student who has no habit, one is said to have one in at most one record of twenty. For eight groups
that takes nine days in one direction, for sixty notes twelve: small numbers do not shout.

What is proved must matter as well. The verdicts of listening say so, which know tolerance, band
and uncertainty: of the times when one could tell, more than half must be off that way. A note that
lies three cents low every day is in tune every day, and no habit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final, Literal

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
class Point:
    """One subject on one day: the mean deviation, and how often it was judged what."""

    day: int
    deviation_cents: float
    times: int
    in_tune: int
    flat: int
    sharp: int


@dataclass(frozen=True, slots=True)
class Series:
    """What is looked at as one thing, in order of time; ``subject`` is its name in its kind."""

    kind: Kind
    subject: str
    points: tuple[Point, ...]


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

    Series without a point are left out.
    """
    held = [series for series in family if series.points]
    directions = holm([sign_test(*_sides(one.points)) for one in held])
    trends = [trend_test([abs(point.deviation_cents) for point in one.points]) for one in held]
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
    points = series.points
    below, above = _sides(points)
    third = thirds(len(points))
    early, late = points[:third], points[-third:]
    direction = _off_way(points) or _off_way(late)
    condition: Condition
    if len(points) < FEWEST_DAYS:
        condition, direction = "too few days", None
    elif p_change <= LEVEL and tau < 0 and _is_off(early):
        condition = "getting better" if not _is_in_tune(late) else "healed"
        direction = _off_way(early)
    elif p_change <= LEVEL and tau > 0 and _is_off(late):
        condition, direction = "getting worse", _off_way(late)
    elif p_direction <= LEVEL and _off_way(points) == ("flat" if below > above else "sharp"):
        condition = "habit"
    elif _is_off(points):
        _, flat, sharp = _judged(points)
        condition = "unsteady" if 4 * min(flat, sharp) >= flat + sharp else "perhaps"
        direction = None if condition == "unsteady" else "flat" if flat > sharp else "sharp"
    else:
        condition, direction = "in order", None
    return Finding(
        kind=series.kind,
        subject=series.subject,
        days=len(points),
        times=sum(point.times for point in points),
        days_below=below,
        days_above=above,
        in_tune=sum(point.in_tune for point in points),
        flat=sum(point.flat for point in points),
        sharp=sum(point.sharp for point in points),
        median_cents=median(point.deviation_cents for point in points),
        early_cents=median(point.deviation_cents for point in early),
        late_cents=median(point.deviation_cents for point in late),
        p_direction=p_direction,
        p_change=p_change,
        tau=tau,
        condition=condition,
        direction=direction,
    )


def _sides(points: Sequence[Point]) -> tuple[int, int]:
    """Days under the target, and days over it."""
    return (
        sum(point.deviation_cents < 0 for point in points),
        sum(point.deviation_cents > 0 for point in points),
    )


def _judged(points: Sequence[Point]) -> tuple[int, int, int]:
    return (
        sum(point.in_tune for point in points),
        sum(point.flat for point in points),
        sum(point.sharp for point in points),
    )


def _off_way(points: Sequence[Point]) -> Direction | None:
    """The direction in which more than half of what one could tell is off."""
    in_tune, flat, sharp = _judged(points)
    if flat >= FEWEST_OFF and flat > in_tune + sharp:
        return "flat"
    if sharp >= FEWEST_OFF and sharp > in_tune + flat:
        return "sharp"
    return None


def _is_off(points: Sequence[Point]) -> bool:
    in_tune, flat, sharp = _judged(points)
    return flat + sharp >= FEWEST_OFF and flat + sharp > in_tune


def _is_in_tune(points: Sequence[Point]) -> bool:
    in_tune, flat, sharp = _judged(points)
    return in_tune > flat + sharp
