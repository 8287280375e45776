"""What the journal answers with, as plain frozen data."""

from __future__ import annotations

from dataclasses import dataclass

from skeleton.journal.take import MarkedTake, MeasuredTake, Says


@dataclass(frozen=True, slots=True)
class Music:
    """An etude as the journal knows it.

    ``content`` is its identity (see :mod:`skeleton.journal.content`), ``keys`` the key of every
    note by its id in the file at hand.
    """

    content: str
    title: str | None
    keys: dict[str, str]


@dataclass(frozen=True, slots=True)
class Holding:
    """How much the journal holds of one student and one etude; days are ISO 8601."""

    student: str
    content: str
    title: str | None
    takes: int
    first_day: str
    last_day: str


@dataclass(frozen=True, slots=True)
class Day:
    """One note on one day: the mean of all its takes of that day, and how they were judged.

    ``day`` counts as ``date.toordinal`` does. ``in_tune``, ``flat`` and ``sharp`` count verdicts
    out of ``times``; of the rest nobody could tell. ``lean_cents`` is the mean step to the anchor
    as played, where that was measured.
    """

    note: str
    day: int
    deviation_cents: float
    times: int
    in_tune: int
    flat: int
    sharp: int
    lean_cents: float | None


@dataclass(frozen=True, slots=True)
class Heard:
    """A note of a take that was listened to, as measured and as marked (None: no mark)."""

    note: str
    day: int
    deviation_cents: float
    uncertainty_cents: float
    says: Says | None


@dataclass(frozen=True, slots=True)
class Kept:
    """One thing the journal keeps, as it is taken out and put into another.

    Notes stand in it by their keys. It is a take, a listening or a lesson's text, each with the
    date of its own (``lesson_date`` for the text).
    """

    student: str
    content: str
    title: str | None
    take: MeasuredTake | None = None
    listening: MarkedTake | None = None
    lesson_date: str | None = None
    lesson: str | None = None
