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
from skeleton.listening.salience import Floats, Salience

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

VOICED_AT: Final = 0.42
VOICED_WIDTH: Final = 0.04
QUIET_DB: Final = 32.0
"""So far under the loudest tenth of the take nothing counts as sounding."""


@dataclass(frozen=True, slots=True)
class FrameScores:
    """Scores by frame: of each sonority, of a rest, of a wrong note; and which are voiced."""

    note: Floats
    rest: Floats
    wrong: Floats
    voiced: Floats


def sonorities(events: Sequence[ScoreEvent]) -> tuple[list[tuple[float, ...]], NDArray[np.intp]]:
    """Return what different things sound in the etude, and which of them each event is."""
    known: dict[tuple[float, ...], int] = {}
    column = [known.setdefault(tuple(sorted(event.hz)), len(known)) for event in events]
    return list(known), np.array(column, np.intp)


def frame_scores(
    found: Salience, sounding: Sequence[tuple[float, ...]], offset_cents: float
) -> FrameScores:
    """Return the scores of all frames.

    Args:
        found: the saliences.
        sounding: the sonorities, in Hz.
        offset_cents: how much higher than that the take is tuned.
    """
    voiced = voicing(found)
    pitches: dict[float, Floats] = {}
    note = np.empty((len(found.peak), len(sounding)), np.float32)
    for column, one in enumerate(sounding):
        for hz in one:
            if hz not in pitches:
                pitches[hz] = found.near(hz, offset_cents, REACH_CENTS)
        height = _together(one, [pitches[hz] for hz in one])
        miss = np.clip((found.peak - height) / MISS_AT, 0.0, 1.0)
        note[:, column] = -MISS * miss * voiced - SILENT_NOTE * (1.0 - voiced)
    return FrameScores(
        note,
        -np.float32(SOUNDING_REST) * voiced,
        -np.float32(WRONG_FRAME) * voiced - np.float32(SILENT_NOTE + 0.2) * (1.0 - voiced),
        voiced,
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


def voicing(found: Salience) -> Floats:
    """Return, by frame, how surely something of definite pitch is being played, 0 to 1."""
    loud = float(np.quantile(found.level_db, 0.9))
    by_pitch = 1.0 / (1.0 + np.exp(-(found.peak - VOICED_AT) / VOICED_WIDTH))
    by_level = 1.0 / (1.0 + np.exp(-(found.level_db - (loud - QUIET_DB)) / 2.0))
    # What a room keeps sounding after a stop falls steadily; a played note does not.
    reach = 12
    before = np.lib.stride_tricks.sliding_window_view(
        np.pad(found.level_db, (reach, 0), mode="edge"), reach + 1
    ).max(axis=1)
    fallen = 1.0 / (1.0 + np.exp((before - found.level_db - 14.0) / 1.5))
    scores: Floats = (by_pitch * by_level * fallen).astype(np.float32)
    return scores
