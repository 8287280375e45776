"""What comes back: from how notes were played, day by day, to a habit, or to nothing proved.

The rule
--------
The unit is a **day**: all takes of a day count as one, by their mean, for they share the hand and
the ear of that day. (A record of many days is looked at in stretches of several days, see
:mod:`skeleton.journal.stretches`; what is said of days here holds for them.) Of each note, group
or name two things are asked:

* Direction: is it off one way on more days, or by more, than chance would give? Asked twice, by the
  days under and over the target (:func:`~skeleton.journal.statistics.sign_test`) and by their mean
  (:func:`~skeleton.journal.statistics.t_test`); the surer answer counts, its p doubled for the two
  attempts. The first needs no assumption, but at least nine days; the second sees a clear habit in
  five, and a day that went quite wrong does not hide it from the first.
* Change: does the distance from the target grow or shrink in the course of the days
  (:func:`~skeleton.journal.statistics.trend_test`)?

Small numbers do not shout
--------------------------
Everything a record says is corrected together: the chance that it says anything at all of a hand
that is off by chance only is at most :data:`LEVEL`, **for the whole record** (Holm's rule with
weights, :func:`~skeleton.journal.statistics.holm`). Each list (notes, groups, fixed pitches,
octaves, the ear, and the two questions each by itself) has the same share of that level, and every
entry of a list the same share of the list's, so that a long etude does not silence its groups.

Only what is off is asked about: the direction of what is off more often than in tune, the change
of what was off :data:`FEWEST_OFF` times. Neither choice looks at what its question asks: how often
something is off does not depend on the way, nor on the order of the days.

What is proved must matter as well. The verdicts of listening say so, which know tolerance, band
and uncertainty: of the times when one could tell, more than half must be off that way. A note that
lies three cents low every day is in tune every day, and no habit.

Assumed is that chance scatters alike upwards and downwards, and from day to day anew. Simulated
(24 notes in 4 groups that all scatter by 25 cents, half of the errors marked by ear, 600 seeds
each), of records of 5, 8, 12, 20 and 40 days 1.2, 1.5, 2.2, 4.2 and 3.0 per cent say anything. A
group of four notes that lies 15 cents low every day is found from the fifth day on; one that drifts
away by 25 cents, or comes back by as much, in half of the records of six days and in 96 per cent of
those of eight (200 seeds each, where single notes scatter by 5 cents).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from statistics import median
from typing import Final, Literal, Self

from skeleton.journal.records import Days
from skeleton.journal.statistics import holm, sign_test, t_test, trend_test

LEVEL: Final = 0.05
"""The chance that a record says anything where nothing is; common practice, no source."""

FEWEST_DAYS: Final = 5
"""Below this nothing is said of a note; no test could come out."""

FEWEST_OFF: Final = 3
"""Times a note must have been off before anything is made of it."""

_LEAST_SCATTER_CENTS: Final = 1.0
"""No hand and no measurement repeats itself to less; a choice of this program, to be careful."""

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
        p_direction: chance of being off so much in one direction without a habit, adjusted for all
            that the record was asked; 0 to 1, and 1 where it was not asked.
        p_change: chance of so clear a change without one, likewise.
        tau: Kendall's, of the distance from the target: -1 it shrinks all the way, 1 it grows; 0
            where it was not asked.
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


@dataclass(frozen=True, slots=True)
class Findings:
    """What is found of several lists of series, and other p of the same record, adjusted."""

    lists: tuple[tuple[Finding, ...], ...]
    others: tuple[tuple[float, ...], ...]


def findings(lists: Sequence[Sequence[Series]], others: Sequence[Sequence[float]] = ()) -> Findings:
    """Return what the days of a record say.

    Args:
        lists: all that is looked at, list by list. Series without a day are left out.
        others: lists of p of other questions to the same record; they share in the correction.
    """
    asked = [[_Asked.of(one) for one in series if one.days.days] for series in lists]
    questions: list[Sequence[float]] = []
    for of in asked:
        questions.append([one.p_direction for one in of if one.p_direction is not None])
        questions.append([one.p_change for one in of if one.p_change is not None])
    questions += others
    adjusted = iter(
        holm(
            list(chain.from_iterable(questions)),
            [1 / len(of) for of in questions for _ in of],
        )
    )
    found = []
    for of in asked:
        directions = [1.0 if one.p_direction is None else next(adjusted) for one in of]
        changes = [1.0 if one.p_change is None else next(adjusted) for one in of]
        found.append(tuple(map(_finding, of, directions, changes)))
    return Findings(tuple(found), tuple(tuple(next(adjusted) for _ in of) for of in others))


def thirds(count: int) -> int:
    """Return how many of so many days are the first or the last third: one at least."""
    return max(1, count // 3)


def _finding(asked: _Asked, p_direction: float, p_change: float) -> Finding:
    series, whole, tau = asked.series, asked.whole, asked.tau
    days = series.days
    below, above = _sides(days)
    count = len(days.days)
    third = thirds(count)
    early, late = (_Judged.of(days, part) for part in (slice(third), slice(count - third, None)))
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


@dataclass(frozen=True, slots=True)
class _Asked:
    """A series, its verdicts, and the p of its questions before any correction, where asked."""

    series: Series
    whole: _Judged
    p_direction: float | None
    p_change: float | None
    tau: float

    @classmethod
    def of(cls, series: Series) -> Self:
        days = series.days
        whole = _Judged.of(days, slice(None))
        p_direction = p_change = None
        tau = 0.0
        if len(days.days) >= FEWEST_DAYS:
            cents = days.deviations_cents
            if whole.is_off:
                surer = min(sign_test(*_sides(days)), t_test(cents, _LEAST_SCATTER_CENTS))
                p_direction = min(1.0, 2 * surer)
            if whole.off >= FEWEST_OFF:
                tau, p_change = trend_test([abs(one) for one in cents])
        return cls(series, whole, p_direction, p_change, tau)
