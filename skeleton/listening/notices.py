"""What was odd about a take: what a reader should know before believing what was judged.

A notice is an English sentence with a code. Beside it stands, as data, what the sentence says in
figures and names, so that it can be said in another language.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from skeleton.audio.background import Steady
from skeleton.audio.decode import SoundNotice, clock
from skeleton.listening.alignment import Alignment
from skeleton.listening.measure import HeardNote
from skeleton.listening.take_reference import TakeReference
from skeleton.score.model import Notice
from skeleton.theory.pitch import Pitch

LOW_FIT: Final = 0.8
"""Under this share of fitting sound a report begins with a warning."""

LEAST_LOST_S: Final = 1.0
"""A shorter stretch that fits no place of the score is not told."""


@dataclass(frozen=True, slots=True)
class TakeNotice(Notice):
    """Something odd about a take, and what its message says in figures and names.

    Attributes:
        number: the number in it: of notes, per cent, or dB under full scale.
        times_s: where in the take: one time, or from when to when.
        drone: the tones that were heard under the take.
        strings: the open strings it names.
    """

    number: int | None = None
    times_s: tuple[float, ...] = ()
    drone: tuple[Steady, ...] = ()
    strings: tuple[Pitch, ...] = ()


def recording_notices(found: Sequence[SoundNotice]) -> tuple[TakeNotice, ...]:
    """Return what was odd about the recording as notices of the take."""
    return tuple(
        TakeNotice(
            one.code,
            one.message,
            number=None if one.level_dbfs is None else round(-one.level_dbfs),
            times_s=one.told_s,
        )
        for one in found
    )


def listening_notices(
    aligned: Alignment,
    reference: TakeReference,
    heard: Sequence[HeardNote],
    drone: Sequence[Steady],
) -> Iterator[TakeNotice]:
    """Yield what was odd when the take was listened to.

    Args:
        aligned: what was played when.
        reference: what the take was judged against.
        heard: what was measured.
        drone: what was taken out before.
    """
    if aligned.fitting < LOW_FIT:
        share = round(100 * aligned.fitting)
        yield TakeNotice(
            "low-fit",
            f"only {share} % of what sounds fits the score; take the results with care, and check "
            "that this is the right passage",
            number=share,
        )
    if drone:
        tones = ", ".join(f"{one.hz:.1f} Hz from {clock(one.start_s)}" for one in drone)
        yield TakeNotice(
            "drone",
            f"a drone was heard ({tones}) and taken out before listening; notes at its pitch are "
            "judged like the others",
            drone=tuple(drone),
        )
    if reference.origin == "notes":
        yield TakeNotice(
            "no-strings",
            "the open strings were not given and not played before the first note; notes are "
            "judged against the height of the take itself, which cannot show that all of it is "
            "off (play the open strings first, or give --strings-hz)",
        )
    elif not all(reference.heard):
        missing = tuple(
            string
            for string, was in zip(reference.strings, reference.heard, strict=True)
            if not was
        )
        yield TakeNotice(
            "strings-missing",
            f"open {', '.join(map(str, missing))} was not heard before the first note and is taken "
            "as a pure fifth from its neighbours",
            strings=missing,
        )
    for first_s, last_s in aligned.unaligned_s:
        if last_s - first_s >= LEAST_LOST_S:
            yield TakeNotice(
                "not-aligned",
                f"{clock(first_s)} to {clock(last_s)} sounds and fits no place of the score; it "
                "was left out",
                times_s=(first_s, last_s),
            )
    unclear = sum(one.place_unclear for one in heard)
    if unclear:
        yield TakeNotice(
            "place-unclear",
            f"{unclear} {'note was' if unclear == 1 else 'notes were'} played after a stop where "
            "the score holds the same pitches more than once; the pitch is measured, the place is "
            "a guess",
            number=unclear,
        )
