"""Which note of the score sounded when: a take laid beside an etude.

The instrument's tuning as a whole is found first (a take tuned 40 cents high would else be wrong
from end to end), then a first pass without wrong notes finds the pace of each stretch, then a
second pass decides. See :mod:`skeleton.listening.semi_markov` for the model.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np

from skeleton.audio.resample import Mono
from skeleton.errors import TakeError
from skeleton.listening import emissions, pace
from skeleton.listening.doubts import DOUBTFUL, doubtful, unconfirmed
from skeleton.listening.emissions import FrameScores
from skeleton.listening.events import ScoreEvent
from skeleton.listening.places import unclear
from skeleton.listening.salience import Salience, salience
from skeleton.listening.semi_markov import Decoded, Model, Stretch, decode
from skeleton.listening.whole_tuning import candidates_cents, refined_cents

WIDE_SPREAD: Final = 0.7
NARROW_SPREAD: Final = 0.3
TRIAL_S: Final = 60.0
"""How much of the take decides between two readings of its tuning."""

_PACE_STEP: Final = 1.2
_MARGIN_CENTS: Final = 400.0
LEAST_FITTING: Final = 0.5
"""Under this share of sounding frames that fit, the take is not this etude."""


@dataclass(frozen=True, slots=True)
class Played:
    """A stretch of the take, and what it is.

    Attributes:
        kind: ``note``: an event of the score; ``wrong``: something else, in its place or (where
            ``extra``) after it.
        event: index of the event.
        start_s: onset, in seconds from the beginning of the samples.
        end_s: its end.
        attempt: which time this event is played in the take, from 1.
        confidence: 0 to 1, how well the sound fits; no higher than
            :data:`skeleton.listening.doubts.DOUBTFUL` where it may be something else.
        elsewhere: events that it could be as well (an ostinato, begun in the middle): then the
            place is a guess, the pitch is not.
        heard_hz: for wrong notes, what sounded.
    """

    kind: Literal["note", "wrong"]
    event: int
    start_s: float
    end_s: float
    attempt: int
    confidence: float
    elsewhere: tuple[int, ...] = ()
    extra: bool = False
    heard_hz: float | None = None


@dataclass(frozen=True, slots=True)
class Restart:
    """Where the player went to an event that does not follow: when, from where, to where."""

    time_s: float
    after_event: int
    to_event: int


@dataclass(frozen=True, slots=True)
class Alignment:
    """A take beside its score.

    Attributes:
        played: what was played, in time order.
        restarts: jumps back or elsewhere.
        skipped: events left out in passing, with the time.
        offset_cents: how much higher than the score's targets the take is tuned as a whole.
        unaligned_s: stretches that sound and were given to no note.
        fitting: share of sounding frames given to the score's own notes, 0 to 1.
        duration_s: length of the samples.
    """

    played: tuple[Played, ...]
    restarts: tuple[Restart, ...]
    skipped: tuple[tuple[int, float], ...]
    offset_cents: float
    unaligned_s: tuple[tuple[float, float], ...]
    fitting: float
    duration_s: float


def align(samples: Mono, rate: int, events: Sequence[ScoreEvent]) -> Alignment:
    """Lay a take beside the events of a score.

    Args:
        samples: the take, one channel.
        rate: its samples a second.
        events: what may be played, in order; the take may begin and end anywhere in it.

    Raises:
        TakeError: nothing in the take can be found in the score.
    """
    if not events:
        raise TakeError("there are no notes to look for; choose measures that have some")
    ratio = 2.0 ** (_MARGIN_CENTS / 1200.0)
    every = [hz for event in events for hz in event.hz]
    found = salience(samples, rate, min(every) / ratio, min(max(every) * ratio, 0.4 * rate))
    voiced = emissions.voicing(found)
    if float((voiced > 0.5).mean()) * len(samples) / rate < 0.1:
        raise TakeError("no notes can be heard in the take; record nearer to the instrument")
    rough = pace.rough_pace_s(found, voiced, events)
    offset = _offset(found, events, rough)
    scores = emissions.frame_scores(found, events, offset)
    first = _pass(found, events, scores, [rough], None, spread=WIDE_SPREAD, wrong=False)
    offset = refined_cents(found, events, first.stretches, offset)
    paces, at = _paces(found, events, first.stretches, rough)
    scores = emissions.frame_scores(found, events, offset)
    second = _pass(found, events, scores, paces, at, spread=NARROW_SPREAD, wrong=True)
    return _told(
        found,
        events,
        second,
        scores,
        pace_s=np.array(paces)[at],
        offset_cents=offset,
        voiced=voiced,
        duration_s=len(samples) / rate,
    )


def _offset(found: Salience, events: Sequence[ScoreEvent], rough: float) -> float:
    """Choose among readings of the tuning that a hundred cents set apart."""
    offers = candidates_cents(found, events)
    if len(offers) == 1:
        return offers[0]
    trial = _beginning(found, TRIAL_S)
    scores = [
        _pass(
            trial,
            events,
            emissions.frame_scores(trial, events, one),
            [rough],
            None,
            spread=WIDE_SPREAD,
            wrong=False,
        ).score
        for one in offers
    ]
    return offers[int(np.argmax(scores))]


def _beginning(found: Salience, length_s: float) -> Salience:
    count = round(length_s / found.hop_s)
    return Salience(
        found.values[:count], found.peak[:count], found.level_db[:count], found.onset[:count],
        found.low_cents, found.hop_s,
    )  # fmt: skip


def _pass(
    found: Salience,
    events: Sequence[ScoreEvent],
    scores: FrameScores,
    paces_s: Sequence[float],
    pace_of_frame: np.ndarray | None,
    *,
    spread: float,
    wrong: bool,
) -> Decoded:
    frames = len(found.peak)
    return decode(
        Model(
            note=scores.note,
            sonority=scores.column,
            rest=scores.rest,
            wrong=scores.wrong,
            onset=found.onset,
            durations=pace.duration_tables(events, paces_s, found.hop_s, spread),
            pace=np.zeros(frames, np.intp) if pace_of_frame is None else pace_of_frame,
            repeats=np.array(
                [False, *(one.hz == other.hz for one, other in pairwise(events))], np.bool_
            ),
            barline=np.array([event.first_in_measure for event in events], np.bool_),
            rest_after=np.array([event.rest_after for event in events], np.bool_),
            grace=np.array([event.grace for event in events], np.bool_),
            wrong_allowed=wrong,
        )
    )


def _paces(
    found: Salience, events: Sequence[ScoreEvent], stretches: Sequence[Stretch], rough: float
) -> tuple[list[float], np.ndarray]:
    """Paces to choose from, and which of them holds in each frame."""
    notes = [one for one in stretches if one.kind == "note" and not events[one.event].grace]
    middles = np.array([(one.first + one.last) / 2 for one in notes], np.float64) * found.hop_s
    own = np.array(
        [(one.last - one.first) * found.hop_s / float(events[one.event].quarters) for one in notes]
    )
    frames = np.arange(len(found.peak), dtype=np.float64) * found.hop_s
    local = pace.local_paces_s(middles, own, frames) if notes else np.full(len(frames), rough)
    low = float(local.min())
    step = math.log(_PACE_STEP)
    index = np.round(np.log(local / low) / step).astype(np.intp)
    used, index = np.unique(index, return_inverse=True)
    return [low * math.exp(step * one) for one in used], index.astype(np.intp)


def _told(
    found: Salience,
    events: Sequence[ScoreEvent],
    decoded: Decoded,
    scores: FrameScores,
    *,
    pace_s: np.ndarray,
    offset_cents: float,
    voiced: np.ndarray,
    duration_s: float,
) -> Alignment:
    played: list[Played] = []
    restarts: list[Restart] = []
    skipped: list[tuple[int, float]] = []
    lost: list[tuple[float, float]] = []
    attempts = [0] * len(events)
    elsewhere = unclear(events, decoded.stretches)
    alone = unconfirmed(events, decoded.stretches)
    own = [scores.note[one.first : one.last, scores.column[one.event]] for one in decoded.stretches]
    doubts = doubtful(found, events, decoded.stretches, own, pace_s)
    last = -1
    fits = 0.0
    for place, one in enumerate(decoded.stretches):
        start_s = max(0.0, (one.first - 0.5) * found.hop_s)
        end_s = min(duration_s, (one.last - 0.5) * found.hop_s)
        heard = voiced[one.first : one.last]
        if one.kind == "rest":
            if float(heard.sum()) * found.hop_s > 0.15:
                lost.append((start_s, end_s))
            continue
        if one.jump and last >= 0:
            restarts.append(Restart(start_s, last, one.event))
        elif last >= 0 and place not in alone:
            skipped += [
                (event, start_s) for event in range(last + 1, one.event) if not events[event].grace
            ]
        if one.kind == "note":
            attempts[one.event] += 1
            fit = max(0.0, 1.0 + float(own[place].mean()) / emissions.MISS)
            fits += float(heard.sum()) * fit
            if place in alone or place in doubts:
                fit = min(fit, DOUBTFUL)
            played.append(
                Played(
                    "note",
                    one.event,
                    start_s,
                    end_s,
                    attempts[one.event],
                    fit,
                    elsewhere.get(place, ()),
                )
            )
        else:
            played.append(
                Played(
                    "wrong",
                    one.event,
                    start_s,
                    end_s,
                    0,
                    0.0,
                    extra=one.extra,
                    heard_hz=_heard(found, one),
                )
            )
        last = one.event
    total = float(voiced.sum())
    fitting = fits / total if total else 0.0
    if fitting < LEAST_FITTING or not any(one.kind == "note" for one in played):
        raise TakeError(
            f"only {100 * fitting:.0f} % of what sounds fits these notes; is it the right etude, "
            "part and passage, and the right recording?"
        )
    return Alignment(
        tuple(played), tuple(restarts), tuple(skipped), offset_cents, tuple(lost), fitting,
        duration_s,
    )  # fmt: skip


def _heard(found: Salience, one: Stretch) -> float:
    """The pitch that is most salient in a stretch, to the step of the candidates."""
    total = found.values[one.first : one.last].astype(np.float32).sum(axis=0)
    return float(2.0 ** ((found.low_cents + 20.0 * int(np.argmax(total))) / 1200.0))
