"""Note by note: the pitch of what was aligned, with its uncertainty, or why there is none."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from skeleton.audio.pitch import NotMeasured, measure
from skeleton.audio.resample import Mono
from skeleton.listening.alignment import Alignment, Played
from skeleton.listening.events import ScoreEvent

SEARCH_CENTS: Final = 80.0
FARTHEST_CENTS: Final = 55.0
"""A pitch farther from where it is expected is taken for another note, and not judged: it is nearer
to the next half step."""

LEAST_CONFIDENCE: Final = 0.35
"""Notes aligned with less than this are listed and not judged (a choice of this program)."""

LONG_S: Final = 0.35
_CLOSE_S: Final = 0.06

Reason = Literal[
    "nothing",
    "elsewhere",
    "octave-above",
    "octave-below",
    "too-short",
    "ringing",
    "covered",
    "unsure",
]


@dataclass(frozen=True, slots=True)
class HeardNote:
    """One note as played once.

    Attributes:
        note: its id.
        event: index of its event.
        attempt: which time this event is played in the take, from 1.
        start_s: when it begins.
        end_s: when it ends.
        confidence: of the alignment, 0 to 1.
        place_unclear: whether it could be another place of the score with the same pitches.
        hz: its pitch, or None.
        se_cents: one standard error of that; infinite without one.
        reason: why it is not to be judged, or None.
        vibrato_cents: extent to either side, 0 for a steady note.
    """

    note: str
    event: int
    attempt: int
    start_s: float
    end_s: float
    confidence: float
    place_unclear: bool
    hz: float | None
    se_cents: float
    reason: Reason | None
    vibrato_cents: float


def measure_notes(
    samples: Mono, rate: int, events: Sequence[ScoreEvent], aligned: Alignment
) -> tuple[HeardNote, ...]:
    """Measure every note that was aligned, in time order; chords note by note.

    The player's usual vibrato is taken from the longer notes first, for a short note may hold no
    whole swing of it and still be moved by it.

    Args:
        samples: the take.
        rate: its samples a second.
        events: what it was aligned with.
        aligned: how.
    """
    notes = [(place, one) for place, one in enumerate(aligned.played) if one.kind == "note"]
    known: dict[int, list[HeardNote]] = {}
    usual = 0.0
    for longer in (True, False):
        chosen = [
            (place, one) for place, one in notes if (one.end_s - one.start_s >= LONG_S) == longer
        ]
        for place, one in chosen:
            before = _before(aligned.played, place, events)
            known[place] = _measured(
                samples,
                rate,
                events,
                one,
                before=before,
                offset_cents=aligned.offset_cents,
                usual_vibrato_cents=usual,
            )
        if longer:
            swings = [note.vibrato_cents for found in known.values() for note in found]
            moving = [swing for swing in swings if swing > 0.0]
            # Somebody who swings now and then need not have swung here.
            usual = float(np.median(moving)) if len(moving) > 0.5 * len(swings) else 0.0
    return tuple(note for place in sorted(known) for note in known[place])


def _before(
    played: Sequence[Played], place: int, events: Sequence[ScoreEvent]
) -> tuple[float, ...]:
    """What may still ring: the note before, where it ended as this one began."""
    if place == 0 or played[place].start_s - played[place - 1].end_s > _CLOSE_S:
        return ()
    earlier = played[place - 1]
    if earlier.heard_hz is not None:
        return (earlier.heard_hz,)
    return events[earlier.event].hz


def _measured(
    samples: Mono,
    rate: int,
    events: Sequence[ScoreEvent],
    one: Played,
    *,
    before: Sequence[float],
    offset_cents: float,
    usual_vibrato_cents: float,
) -> list[HeardNote]:
    event = events[one.event]
    ratio = 2.0 ** (offset_cents / 1200.0)
    found = []
    for note, hz in zip(event.notes, event.hz, strict=True):
        others = [other for other in (*event.hz, *event.held_hz) if other != hz]
        ringing = [other for other in before if other not in others and other != hz]
        # A margin on both sides: the stretch is cut out so that the take is never copied whole.
        first = max(0, math.floor((one.start_s - 0.05) * rate))
        cut = samples[first : math.ceil((one.end_s + 0.05) * rate)]
        result = measure(
            cut,
            rate,
            hz * ratio,
            start_s=one.start_s - first / rate,
            end_s=one.end_s - first / rate,
            search_cents=SEARCH_CENTS,
            also_hz=[other * ratio for other in (*others, *ringing)],
            usual_vibrato_cents=usual_vibrato_cents,
        )
        value: float | None = None
        error, swing = math.inf, 0.0
        reason: Reason | None = None
        if isinstance(result, NotMeasured):
            reason = result.reason
        else:
            value, error = result.hz, result.se_cents
            swing = 0.0 if result.vibrato is None else result.vibrato.extent_cents
            if abs(result.cents) > FARTHEST_CENTS:
                reason = "elsewhere"
            elif result.ringing:
                reason = "covered" if others else "ringing"
            elif one.confidence < LEAST_CONFIDENCE:
                reason = "unsure"
        found.append(
            HeardNote(
                note,
                one.event,
                one.attempt,
                one.start_s,
                one.end_s,
                one.confidence,
                bool(one.elsewhere),
                value,
                error,
                reason,
                swing,
            )
        )
    return found


def by_note(heard: Sequence[HeardNote]) -> Mapping[str, list[HeardNote]]:
    """Return what was heard of each note, in time order."""
    found: dict[str, list[HeardNote]] = {}
    for one in heard:
        found.setdefault(one.note, []).append(one)
    return found
