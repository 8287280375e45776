"""From saliences to the frame scores of the alignment.

A note's score falls with how much higher than its own salience the highest salience stands, and
is bounded; whether anything of definite pitch sounds at all is asked first, by the height of the
highest salience and by loudness.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skeleton.listening.events import ScoreEvent
from skeleton.listening.salience import LOBE_HZ, STEP_CENTS, Floats, Salience

REACH_CENTS: Final = 50.0
"""How far from its place a note may sound and still be that note."""

MISS: Final = 1.3
"""Score of a frame in which something else sounds than the note."""

MISS_AT: Final = 0.22
"""That is reached where another pitch is this much more salient."""

SILENT_NOTE: Final = 0.35
"""A frame without pitch costs a note this much."""

SOUNDING_REST: Final = 0.8
"""A frame with pitch costs a rest this much."""

WRONG_FRAME: Final = 0.12
"""What every frame of a wrong note costs."""

DOUBLE_STOP_KEEPS: Final = 0.6
OCTAVE_KEEPS: Final = 0.4

_ROOTS: Final = 5
"""Roots are looked for down to a fifth of a note's frequency."""

VOICED_AT: Final = 0.42
VOICED_WIDTH: Final = 0.04
QUIET_DB: Final = 32.0
"""So far under the loudest tenth of the take nothing counts as sounding."""

FALLEN_DB: Final = 14.0
"""What has fallen so far within 0.17 s is no longer played."""

DYING_DB: Final = 6.0
DYING_DB_A_SECOND: Final = 34.0
"""Nor is what has fallen so far and goes on falling so fast: a room of up to 1.8 s does, a bow
that dies away does not."""

RINGING_DB: Final = 9.0
"""What falls so far rings on until something louder or another pitch sounds; between two notes of
one pitch, the second softer, it is less."""

LOUDER_DB: Final = 4.0
"""What rings on in a room seldom wavers by more."""

_SAME_CENTS: Final = 70.0


@dataclass(frozen=True, slots=True)
class FrameScores:
    """Scores by frame: of each sonority of the etude, of a rest, of a wrong note.

    ``column`` says which column of ``note`` each event has.
    """

    note: Floats
    column: NDArray[np.intp]
    rest: Floats
    wrong: Floats


@dataclass(frozen=True, slots=True)
class _Sonority:
    """What sounds in an event, low to high, in Hz: what begins, and what is held on from before."""

    hz: tuple[float, ...]
    held_hz: tuple[float, ...]


def _sonorities(events: Sequence[ScoreEvent]) -> tuple[list[_Sonority], NDArray[np.intp]]:
    """Return what different things sound in the etude, and which of them each event is."""
    known: dict[_Sonority, int] = {}
    column = [
        known.setdefault(
            _Sonority(tuple(sorted(event.hz)), tuple(sorted({*event.held_hz} - {*event.hz}))),
            len(known),
        )
        for event in events
    ]
    return list(known), np.array(column, np.intp)


def frame_scores(found: Salience, events: Sequence[ScoreEvent], offset_cents: float) -> FrameScores:
    """Return the scores of all frames.

    Args:
        found: the saliences.
        events: what may sound.
        offset_cents: how much higher than that the take is tuned.
    """
    sounding, columns = _sonorities(events)
    pitched = _pitched(found)
    voiced = voicing(found)
    silence: Floats = 1.0 - voiced
    pitches: dict[float, Floats] = {}
    note = np.empty((len(found.peak), len(sounding)), np.float32)
    for column, one in enumerate(sounding):
        for hz in (*one.hz, *one.held_hz):
            if hz not in pitches:
                pitches[hz] = found.near(hz, offset_cents, REACH_CENTS)
        height = _together(one.hz, [pitches[hz] for hz in one.hz])
        for held in one.held_hz:
            if all(_is_partial(hz, held) for hz in one.hz):
                # It shows only in that nothing else does.
                height = np.maximum(height, np.float32(OCTAVE_KEEPS) * pitches[held])
        miss = np.clip((_unexplained(found, one, offset_cents) - height) / MISS_AT, 0.0, 1.0)
        # No note begins unheard in what rings on of another.
        note[:, column] = -np.maximum(MISS * miss * pitched, SILENT_NOTE * silence)
    return FrameScores(
        note,
        columns,
        -np.float32(SOUNDING_REST) * voiced,
        -np.float32(WRONG_FRAME) * voiced - np.float32(SILENT_NOTE + 0.2) * silence,
    )


def _together(hz: Sequence[float], own: Sequence[Floats]) -> Floats:
    """The height of what sounds together: the highest of them, less what the faintest lacks.

    Notes of a double stop share what there is, and each hides a part of the other: played, the
    fainter one keeps 0.7 of the other's height and more, 0.42 and more an octave away (measured on
    double stops of synthetic tones); unplayed it keeps less.
    """
    if len(own) == 1:
        return own[0]
    loudest: Floats = np.maximum.reduce(list(own))
    lowest = min(hz)
    octaves = [abs(12.0 * np.log2(one / lowest)) % 12.0 for one in hz if one != lowest]
    hidden = any(min(one, 12.0 - one) < 0.5 for one in octaves)
    keeps = OCTAVE_KEEPS if hidden else DOUBLE_STOP_KEEPS
    lacking = np.maximum(0.0, keeps * loudest - np.minimum.reduce(list(own)))
    height: Floats = loudest - np.float32(2.0) * lacking.astype(np.float32)
    return height


def _is_partial(hz: float, root_hz: float) -> bool:
    number = round(hz / root_hz)
    return number >= 2 and abs(1200.0 * np.log2(hz / (number * root_hz))) < REACH_CENTS


def _unexplained(found: Salience, one: _Sonority, offset_cents: float) -> Floats:
    """The highest salience that a sonority does not bring about by what is held, or together.

    What notes are partials of, or nearly, is as salient as they are: E, B and G sharp look like
    the partials 2, 3 and 5 of an E below. And what lies beside them within the width of a partial
    is salient too.
    """
    sounding = (*one.hz, *one.held_hz)
    if len(sounding) == 1:
        return found.peak
    roots = [hz / number for hz in sounding for number in range(2, _ROOTS + 1)]
    kept = found.values.copy()
    for hz in (*one.held_hz, *roots):
        ratio = max(1.0 + 2.0 * LOBE_HZ / hz, 2.0 ** (REACH_CENTS / 1200.0))
        low, high = found.column(hz / ratio, offset_cents), found.column(hz * ratio, offset_cents)
        kept[:, low : high + 1] = 0
    highest: Floats = kept.max(axis=1).astype(np.float32) / 255.0
    return highest


def voicing(found: Salience) -> Floats:
    """Return, by frame, how surely something of definite pitch is being played, 0 to 1."""
    scores: Floats = _pitched(found) * (1.0 - _dying(found))
    return scores


def _pitched(found: Salience) -> Floats:
    """How surely something of definite pitch sounds, played or ringing on."""
    loud = float(np.quantile(found.level_db, 0.9))
    by_pitch = _above(found.peak, VOICED_AT, VOICED_WIDTH)
    by_level = _above(found.level_db, loud - QUIET_DB, 2.0)
    scores: Floats = by_pitch * by_level
    return scores


def _dying(found: Salience) -> Floats:
    """How surely a frame holds what a room keeps sounding: that falls fast, a bow holds on."""
    reach = 12
    before = np.lib.stride_tricks.sliding_window_view(
        np.pad(found.level_db, (reach, 0), mode="edge"), reach + 1
    ).max(axis=1)
    fallen_db = before - found.level_db
    falls = _above(-_slope(found.level_db), DYING_DB_A_SECOND * found.hop_s, 0.1)
    surely: Floats = np.maximum(
        _above(fallen_db, FALLEN_DB, 1.5), _above(fallen_db, DYING_DB, 1.0) * falls
    )
    surely[_ringing_on(found, (fallen_db > RINGING_DB) & (falls > 0.5))] = 1.0
    return surely


def _ringing_on(found: Salience, begins: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Frames after something began to die away, until it is louder again or another pitch sounds.

    A tone rings on unevenly in a room: it falls, stays and falls again.
    """
    frames = np.zeros(len(begins), np.bool_)
    top_cents = found.values.argmax(axis=1) * STEP_CENTS
    ringing = False
    lowest_db = pitch_cents = 0.0
    for frame, (level_db, cents) in enumerate(
        zip(found.level_db.tolist(), top_cents.tolist(), strict=True)
    ):
        lowest_db = min(lowest_db, level_db)
        if level_db > lowest_db + LOUDER_DB or abs(cents - pitch_cents) > _SAME_CENTS:
            ringing = False
        if begins[frame] and not ringing:
            ringing, lowest_db, pitch_cents = True, level_db, cents
        frames[frame] = ringing
    return frames


def _above(values: Floats, middle: float, width: float) -> Floats:
    """0 well under a middle, 1 well over it."""
    below = np.clip((middle - values) / width, -60.0, 60.0)
    return np.asarray(1.0 / (1.0 + np.exp(below)), np.float32)


def _slope(level_db: Floats) -> Floats:
    """How much the level rises from frame to frame: least squares over nine frames."""
    steps = np.arange(-4, 5, dtype=np.float32)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(level_db, 4, mode="edge"), 9)
    return np.asarray(around @ steps / (steps @ steps), np.float32)
