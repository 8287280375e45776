"""The student's own ear: what was marked, against what was measured.

A mark is a note the listener pointed at, flat or sharp; a note of a listened take without a mark
was heard as right. Nothing here says who is right: where ear and measurement differ, both are told.

The smallest error usually noticed
----------------------------------
Larger errors are marked more often. It is the size in cents that divides best: with every note
off by as much or more taken for marked and every other for unmarked, the fewest notes are taken
wrongly. Where marking grows with size, that is the size marked half of the time, the threshold of
a hearing test (common practice, no source). A mark "unsure" is one: the note was noticed. Nothing
is told of fewer than :data:`FEWEST_NOTES` marked or unmarked notes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from skeleton.journal.habits import LEVEL, Direction
from skeleton.journal.records import Heard
from skeleton.journal.statistics import fisher_test

FEWEST_NOTES: Final = 8
"""Marked and unmarked notes that must stand behind a figure each; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Ear:
    """How marks compare with measurements.

    Attributes:
        notes: notes of takes that were listened to, ``days`` on how many days.
        marked: of these, marked flat or sharp; ``unsure`` marked as such.
        agree: marks whose direction is the measured one, of those clearly off.
        against: marks whose direction is the opposite one.
        marked_in_tune: marks on notes that were not clearly off.
        noticed_cents: smallest error usually noticed; of the first half of the days
            ``early_noticed_cents``, of the second ``late_noticed_cents``; None where too few
            notes say it.
        flat_missed: notes clearly flat without a mark, of ``flat_notes``; likewise sharp.
        p_bias: chance of missing the two so unevenly if they were heard alike, 0 to 1; adjusted
            for all that the record was asked once it has been :func:`judged`.
        bias: "flat" where flat notes are heard as right more often, "sharp" the other way; None
            where that may be chance, or was not judged yet.
    """

    notes: int
    days: int
    marked: int
    unsure: int
    agree: int
    against: int
    marked_in_tune: int
    noticed_cents: float | None
    early_noticed_cents: float | None
    late_noticed_cents: float | None
    flat_missed: int
    flat_notes: int
    sharp_missed: int
    sharp_notes: int
    p_bias: float
    bias: Direction | None


def ear(heard: Sequence[Heard]) -> Ear:
    """Return how the marks of all listened takes compare with what was measured."""
    days = sorted({one.day for one in heard})
    half = days[len(days) // 2] if days else 0
    clear = [one for one in heard if abs(one.deviation_cents) > one.uncertainty_cents]
    marked = [one for one in heard if one.says in ("flat", "sharp")]
    said = [one for one in clear if one.says in ("flat", "sharp")]
    agree = sum((one.says == "flat") == (one.deviation_cents < 0) for one in said)
    threshold = noticed_cents(heard)
    # A bias is looked for among errors of a size that is worth marking.
    worth = [one for one in clear if threshold is None or abs(one.deviation_cents) >= threshold]
    flat = [one for one in worth if one.deviation_cents < 0]
    sharp = [one for one in worth if one.deviation_cents > 0]
    flat_missed, sharp_missed = (sum(one.says is None for one in of) for of in (flat, sharp))
    return Ear(
        notes=len(heard),
        days=len(days),
        marked=len(marked),
        unsure=sum(one.says == "unsure" for one in heard),
        agree=agree,
        against=len(said) - agree,
        marked_in_tune=len(marked) - len(said),
        noticed_cents=threshold,
        early_noticed_cents=noticed_cents([one for one in heard if one.day < half]),
        late_noticed_cents=noticed_cents([one for one in heard if one.day >= half]),
        flat_missed=flat_missed,
        flat_notes=len(flat),
        sharp_missed=sharp_missed,
        sharp_notes=len(sharp),
        p_bias=fisher_test(flat_missed, len(flat), sharp_missed, len(sharp)),
        bias=None,
    )


def asked_of(found: Ear) -> tuple[float, ...]:
    """Return the p of what is asked of the ear, before any correction; none where nothing can be.

    Where all or none of the notes were missed, or all lie on one side, no count is uneven.
    """
    missed, notes = found.flat_missed + found.sharp_missed, found.flat_notes + found.sharp_notes
    can = 0 < missed < notes and found.flat_notes and found.sharp_notes
    return (found.p_bias,) if can else ()


def judged(found: Ear, adjusted: Sequence[float]) -> Ear:
    """Return the ear with its bias, from the p of :func:`asked_of` as adjusted."""
    p_bias = adjusted[0] if adjusted else 1.0
    bias: Direction | None = None
    if p_bias <= LEVEL:
        more = found.flat_missed * found.sharp_notes > found.sharp_missed * found.flat_notes
        bias = "flat" if more else "sharp"
    return replace(found, p_bias=p_bias, bias=bias)


def noticed_cents(heard: Sequence[Heard]) -> float | None:
    """Return the size of error that best divides marked notes from unmarked ones, or None."""
    marked = sum(one.says is not None for one in heard)
    if min(marked, len(heard) - marked) < FEWEST_NOTES:
        return None
    # Going down from above the largest, every marked note that passes the line comes right, and
    # every unmarked one goes wrong.
    best, wrong, found = marked, marked, None
    falling = sorted(heard, key=lambda one: -abs(one.deviation_cents))
    for place, one in enumerate(falling):
        wrong += 1 if one.says is None else -1
        size = abs(one.deviation_cents)
        below = abs(falling[place + 1].deviation_cents) if place + 1 < len(falling) else 0.0
        if wrong < best and below < size:
            best, found = wrong, (size + below) / 2
    return found
