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
    """How much the journal holds of one student and one etude; days are ISO 8601.

    ``stretch_days`` is how many days count as one (:mod:`skeleton.journal.stretches`).
    """

    student: str
    content: str
    title: str | None
    takes: int
    first_day: str
    last_day: str
    stretch_days: int = 1


@dataclass(frozen=True, slots=True)
class Days:
    """One note day by day, in order of time: a column for each figure, as long as ``days``.

    Where a record has many days, each stretch of several stands here as a day, by its first.
    Columns, for a record may hold hundreds of notes.

    Attributes:
        note: its key.
        days: as ``date.toordinal`` counts them, each once.
        deviations_cents: the mean of all takes of the day, positive above.
        times: how often it was measured that day.
        in_tune: of these, found in tune; ``flat`` and ``sharp`` likewise; of the rest nobody
            could tell.
        leans_cents: the mean step to the anchor as played, or None where it hangs on none.
    """

    note: str
    days: tuple[int, ...]
    deviations_cents: tuple[float, ...]
    times: tuple[int, ...]
    in_tune: tuple[int, ...]
    flat: tuple[int, ...]
    sharp: tuple[int, ...]
    leans_cents: tuple[float | None, ...]


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
