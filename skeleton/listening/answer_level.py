"""How strongly a string answered, from its modes after the note and from what a room leaves.

Every frame of every mode that could be followed says how loud the string's first mode would have
been at the end of the note, against the note's own partial: mode m of a driven string answers as
1/m, and falls by ``20 log10(e) pi f / Q`` dB a second. What counts most are frames where a usual
answer would stand clear of the room and of the floor.

A partial that happened to be faint at the microphone while the note sounded (direct sound and room
can cancel) seems to ring loudly after it; but it falls as fast as the room. So how fast the modes
fall is told as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from skeleton.audio.resonance import Array, Room, Trace
from skeleton.intonation.ring import ASSUMED_Q
from skeleton.listening.string_modes import Mode

LOSSY_Q: Final = 150.0
"""Nothing is said to be missing that strings as lossy as this would not have shown."""

LEVEL_SD_DB: Final = 4.0
"""How far the level from one mode lies off on synthetic takes, one standard deviation: room and
string add up with any phase."""

TIMING_S: Final = 0.02
"""How well the end of a note is known."""

_FALLING_FRAMES: Final = 4
_TYPICAL_DB: Final = -6.0
_WEIGHTS_DB: Final = (0.5, 30.0)


@dataclass(frozen=True, slots=True)
class AnswerLevel:
    """What the modes of the strings come to, taken together.

    Attributes:
        over_room_db: how far they stand over what the room leaves.
        error_db: one standard error of that.
        level_db: the string's first mode at the end of the note, against the note's partial, from
            what is seen, for strings of :data:`~skeleton.intonation.ring.ASSUMED_Q`; what was
            heard at all where nothing is seen.
        u_db: two standard errors of that, Q not counted.
        fall_share: how fast the modes fall over how fast the room does; infinite where they are
            not seen long enough to tell.
        most_db: the level from all that was heard, room and noise too, for strings of
            :data:`LOSSY_Q`: no string can have answered more.
    """

    over_room_db: float
    error_db: float
    level_db: float
    u_db: float
    fall_share: float
    most_db: float


def answer_level(traces: Sequence[tuple[Mode, Trace]], room: Room) -> AnswerLevel:
    """Return how strongly strings answered a note.

    Args:
        traces: at least one mode, as it was followed.
        room: what is left of partials that no string shares.
    """
    over, weights = [], []
    falls = room_falls = 0.0
    seen, seen_weights, heard, heard_weights = [], [], [], []
    for mode, one in traces:
        left = room.db(one.after_s, one.hz)
        hidden = np.maximum(left, one.floor_db)
        usual = _full_answer_db(mode, one.after_s, ASSUMED_Q)
        lossy = _full_answer_db(mode, one.after_s, LOSSY_Q)
        weight = _clear(usual, hidden)
        above = one.over_db - left
        # A floor over the room's line is no answer.
        above = np.where(one.seen, above, np.minimum(above, 0.0))
        over.append(float(np.average(above, weights=weight)))
        weights.append(float(weight.mean()))
        frames = int(one.seen.sum())
        if frames >= _FALLING_FRAMES:
            span = float(weight.mean() * (one.after_s[frames - 1] - one.after_s[0]))
            line = np.polynomial.polynomial.polyfit(one.after_s[:frames], one.over_db[:frames], 1)
            falls -= span * float(line[1])
            room_falls += span * room.fall_at(one.hz)
        seen.append(one.over_db - usual)
        seen_weights.append(weight**2 * one.seen)
        heard.append(one.over_db - lossy)
        heard_weights.append(_clear(lossy, hidden) ** 2)
    share = np.array(weights) / sum(weights)
    few = math.sqrt(float((share**2).sum()))
    most_db = float(np.average(np.concatenate(heard), weights=np.concatenate(heard_weights)))
    total = np.concatenate(seen_weights)
    level_db = float(np.average(np.concatenate(seen), weights=total)) if total.any() else most_db
    return AnswerLevel(
        float(share @ np.array(over)),
        math.hypot(room.spread_db * few, TIMING_S * room.fall_db_per_s),
        level_db,
        2.0 * LEVEL_SD_DB * few,
        falls / room_falls if room_falls > 0.0 else math.inf,
        most_db,
    )


def _full_answer_db(mode: Mode, after_s: Array, quality: float) -> Array:
    """A mode's level against its partial if the string's first mode were as loud as the note."""
    fall = 20.0 * math.log10(math.e) * math.pi * mode.hz / quality
    return np.asarray(-20.0 * math.log10(mode.number) - fall * after_s)


def _clear(full_db: Array, hidden_db: Array) -> Array:
    """How far a usual answer would stand clear of what hides it."""
    return np.asarray(np.clip(full_db + _TYPICAL_DB - hidden_db, *_WEIGHTS_DB))
