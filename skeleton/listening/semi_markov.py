"""The most likely way through a score and a take: an explicit-duration hidden semi-Markov model.

Every event of the score is a state with its own distribution of durations (Ferguson 1980; Yu 2010,
"Hidden semi-Markov models", Artificial Intelligence 174). Between events a player may go on, rest
(stop, talk), leave an event out, go back a little or go somewhere else; in place of an event, or
after it, something wrong may sound. Frame scores are bounded, or one long wrong note would cost
more than any number of jumps.

Scores are logarithms of likelihoods up to a constant; higher is better. The costs were set by hand
on the development half of the made performances (``tests/listening``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from skeleton.listening.salience import Floats

Ints = NDArray[np.int16]

SKIP: Final = 4.5
"""To leave out one event."""

SKIPPED_TWIN: Final = 0.2
"""What it costs more where the event has the sonority of the next: nothing in the sound says which
of two equal notes was played; it is taken to be the first."""

NEAR: Final = 5.5
"""To go back by up to :data:`NEAR_EVENTS` events, the same one again included."""

NEAR_EVENTS: Final = 16

FAR: Final = 9.25
"""To go anywhere else."""

BARLINE: Final = 1.5
"""What a jump to the first event of a measure costs less."""

NO_PAUSE: Final = 6.0
"""What a jump costs more where no rest comes before it, or hardly one."""

PAUSE_FRAMES: Final = 20
"""A rest of 0.3 s is a pause."""

GOING_ON: Final = 5.0
LONG_PAUSE_FRAMES: Final = (35, 110)
"""Who stops where no rest is written and simply goes on does so soon: from 0.5 s on that costs
more and more, up to :data:`GOING_ON` at 1.6 s (a choice of this program)."""

START: Final = 3.0
"""To begin somewhere else than at the first event."""

WRONG: Final = 5.5
"""Something wrong in place of an event."""

EXTRA: Final = 6.5
"""Something wrong after an event."""

REST: Final = 2.5
WRITTEN_REST: Final = 0.2
GRACE_SKIP: Final = 1.0
HOLD: Final = 0.02
"""For each frame beyond the longest duration that is looked at."""

ONSET: Final = 3.0
REPEAT_WITHOUT_ONSET: Final = 3.5
JUMP_WITHOUT_ONSET: Final = 3.0
SHORTEST: Final = 2

_NONE: Final = np.float32(-1e9)
_LONGEST: Final = 32000
_NEXT, _SKIP, _NEAR, _FAR = 0, 1, 2, 3
_WAYS, _AS_EXTRA = 3, 4
_RESTED, _LEFT_RESTED, _REST_BEGINS = 1, 2, 4
_PLACE_BITS: Final = np.array([_RESTED, _LEFT_RESTED, _REST_BEGINS], np.uint8)


@dataclass(frozen=True, slots=True)
class Model:
    """What the decoder needs; frames are counted along the first axis.

    Attributes:
        note: score of a frame for each sonority of the etude.
        sonority: column of ``note`` for each event.
        rest: score of a frame in which nobody plays what the score asks for.
        wrong: score of a frame for a wrong note.
        onset: 0 to 1 by frame.
        durations: by pace, event and duration: log of how likely; durations count from 1.
        pace: which pace holds in each frame.
        repeats: whether an event has the sonority of the one before.
        barline: whether an event is the first of its measure.
        rest_after: whether a rest is written after an event.
        grace: whether an event may be left out for little.
        wrong_allowed: whether wrong notes have states.
    """

    note: Floats
    sonority: NDArray[np.intp]
    rest: Floats
    wrong: Floats
    onset: Floats
    durations: Floats
    pace: NDArray[np.intp]
    repeats: NDArray[np.bool_]
    barline: NDArray[np.bool_]
    rest_after: NDArray[np.bool_]
    grace: NDArray[np.bool_]
    wrong_allowed: bool


@dataclass(frozen=True, slots=True)
class Stretch:
    """Frames from ``first`` up to ``last`` (not included) that hang together.

    ``event`` is the event sounding; for a wrong note the one it stands for or follows; for a rest
    the one before, -1 at the beginning. ``jump`` is true where it does not follow from before.
    ``extra`` marks a wrong note after its event rather than in its place.
    """

    kind: Literal["note", "wrong", "rest"]
    event: int
    first: int
    last: int
    jump: bool = False
    extra: bool = False


@dataclass(frozen=True, slots=True)
class Decoded:
    """The stretches in order, without gaps, and the score of the whole."""

    stretches: tuple[Stretch, ...]
    score: float


def decode(model: Model) -> Decoded:
    """Return the best sequence of stretches; memory is 5 bytes for each frame and event."""
    return _Trellis(model).run()


class _Trellis:
    """The forward pass keeps one column of scores and the back pointers of all.

    There is one more place than events: place 0 is "nothing played yet", place i the end of event
    i - 1.
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        self.frames = len(model.rest)
        self.events = len(model.sonority)
        shape = (self.frames + 1, self.events)
        # For how long each event has sounded that ends at a frame; less than 0: something wrong.
        self.length = np.zeros(shape, np.int16)
        # How each event, and something wrong for it, begins at a frame.
        self.begun = np.zeros(shape, np.uint8)
        self.nearby = np.zeros(shape, np.int8)
        self.far = np.zeros(self.frames + 1, np.int16)
        # Whether a rest comes before going on from a place, or elsewhere; whether one begins there.
        self.places = np.zeros((self.frames + 1, self.events + 1), np.uint8)
        near_onset = np.lib.stride_tricks.sliding_window_view(np.pad(model.onset, 1), 3).max(axis=1)
        self.bonus = np.float32(ONSET) * model.onset
        self.unmarked_jump = np.float32(JUMP_WITHOUT_ONSET) * (np.float32(1.0) - near_onset)
        self.unmarked_repeat = np.float32(REPEAT_WITHOUT_ONSET) * (np.float32(1.0) - near_onset)
        self.repeats = model.repeats.astype(np.float32)
        cost = np.where(model.grace[:-1], GRACE_SKIP, SKIP) + SKIPPED_TWIN * model.repeats[1:]
        self.skip_cost = cost.astype(np.float32)
        self.gain = np.where(model.barline, np.float32(BARLINE), np.float32(0.0))

    def run(self) -> Decoded:
        """Pass forward over the frames, then trace back."""
        between = _Between(self.model)
        running = _Running(self.model)
        for t in range(self.frames + 1):
            if t:
                between.rest(t)
                self.length[t] = running.end(t, between.finished[1:])
                between.depart(t, self.places[t])
            if t < self.frames:
                running.begin(t, *self._begin(t, between))
        place = int(between.source.argmax())
        return Decoded(tuple(self._back(place)), float(between.source[place]))

    def _begin(self, t: int, between: _Between) -> tuple[Floats, Floats | None]:
        """Scores of beginning each event at frame t, as itself and as something wrong."""
        source, begun = between.source, self.begun[t]
        best = source[:-1] - self.repeats * self.unmarked_repeat[t]
        skipped = source[:-2] - self.skip_cost
        begun[1:][skipped > best[1:]] = _SKIP
        best[1:] = np.maximum(best[1:], skipped)
        near = between.best_nearby() - np.float32(NEAR)
        self.far[t], away = between.best_anywhere()
        jump = np.maximum(near, away)
        jump += self.gain
        jump -= self.unmarked_jump[t]
        wins = jump > best
        best = np.maximum(best, jump)
        begun[wins] = _FAR
        wins &= near >= away
        begun[wins] = _NEAR
        # Of the jumps nearby only those that are taken are looked for.
        at = wins.nonzero()[0]
        self.nearby[t, at] = between.nearby[at].argmax(axis=1) + 1
        best += self.bonus[t]
        if not self.model.wrong_allowed:
            return best, None
        odd = source[:-1] - np.float32(WRONG)
        more = source[1:] - np.float32(EXTRA)
        begun += (more > odd) * np.uint8(_AS_EXTRA)
        odd = np.maximum(odd, more)
        odd += self.bonus[t]
        return best, odd

    def _back(self, place: int) -> list[Stretch]:
        found: list[Stretch] = []
        t = self.frames
        rested = bool(self.places[t, place] & _RESTED)
        while t > 0:
            if rested or place == 0:
                first = t
                while first > 0 and not self.places[first, place] & _REST_BEGINS:
                    first -= 1
                first = max(0, first - 1)
                found.append(Stretch("rest", place - 1, first, t))
                t, rested = first, False
                if place == 0:
                    break
                continue
            event = place - 1
            first = t - abs(int(self.length[t, event]))
            begun = int(self.begun[first, event])
            if self.length[t, event] < 0:
                extra = bool(begun & _AS_EXTRA)
                found.append(Stretch("wrong", event, first, t, extra=extra))
                place = event + 1 if extra else event
                rested = bool(self.places[first, place] & _RESTED)
            else:
                way = begun & _WAYS
                jump = way in (_NEAR, _FAR)
                found.append(Stretch("note", event, first, t, jump=jump))
                place = self._origin(first, event, way)
                rested = bool(self.places[first, place] & (_LEFT_RESTED if jump else _RESTED))
            t = first
        found.reverse()
        return found

    def _origin(self, t: int, event: int, way: int) -> int:
        """The place from which an event begins at frame t."""
        if way == _NEAR:
            return event + int(self.nearby[t, event])
        return int(self.far[t]) if way == _FAR else event - (way == _SKIP)


class _Between:
    """The scores of being at a place: an event has just finished there, or a rest goes on."""

    def __init__(self, model: Model) -> None:
        self.model = model
        n = len(model.sonority)
        self.finished = np.full(n + 1, _NONE, np.float32)
        self.resting = np.full(n + 1, _NONE, np.float32)
        self.resting[0] = 0.0
        self.since = np.zeros(n + 1, np.int64)
        self.enter = np.full(n + 1, -REST, np.float32)
        self.enter[1:][model.rest_after] = -WRITTEN_REST
        self.stops = np.concatenate([[False], ~model.rest_after]).astype(np.float32)
        self.after_rest = _rest_costs()
        self.at_once = np.array([[0.0], [NO_PAUSE]], np.float32)
        # Going on from each place, and leaving it for elsewhere; behind the last there is nothing.
        self.scores = np.full((2, n + NEAR_EVENTS), -np.inf, np.float32)
        self.source, self.leaving = self.scores[:, : n + 1]
        self.source[:] = self.leaving[:] = self.resting
        # By event: the places after it and the next ones, from which one may go back to it.
        self.nearby = np.lib.stride_tricks.sliding_window_view(self.scores[1, 1:], NEAR_EVENTS)
        # By bit of the back pointers: rested before going on, before leaving; a rest begins.
        self.flags = np.zeros((3, n + 1), np.bool_)

    def rest(self, t: int) -> None:
        """Let rests go on, and begin, in the frame before t."""
        entered = self.finished + self.enter
        begins = np.greater(entered, self.resting, out=self.flags[2])
        self.since[begins] = t - 1
        np.maximum(self.resting, entered, out=self.resting)
        self.resting += self.model.rest[t - 1]

    def depart(self, t: int, places: NDArray[np.uint8]) -> None:
        """Choose for each place between a rest and what finished at frame t; note the choice."""
        costs = self.after_rest.take(t - self.since, axis=1, mode="clip")
        costs[0] *= self.stops
        rested = self.resting - costs
        at_once = self.finished - self.at_once
        np.greater(rested, at_once, out=self.flags[:2])
        np.maximum(rested, at_once, out=self.scores[:, : len(self.finished)])
        np.matmul(_PLACE_BITS, self.flags.view(np.uint8), out=places)

    def best_nearby(self) -> Floats:
        """By event: the best of the places that a jump nearby may come from."""
        best = self.scores[1, 1:]
        span = 1
        while span < NEAR_EVENTS:
            best = np.maximum(best[span:], best[:-span])
            span *= 2
        return best

    def best_anywhere(self) -> tuple[int, np.float32]:
        """The place that a jump elsewhere comes from, and its score then."""
        place = int(self.leaving[1:].argmax()) + 1
        start, away = self.resting[0] - np.float32(START), self.leaving[place] - np.float32(FAR)
        return (0, start) if start > away else (place, away)


def _rest_costs() -> Floats:
    """What going on, and going elsewhere, costs after a rest of so many frames."""
    first, last = LONG_PAUSE_FRAMES
    frames = np.arange(last + 1)
    late = np.clip((frames - first) / (last - first), 0.0, 1.0)
    early = np.clip(1.0 - frames / PAUSE_FRAMES, 0.0, 1.0)
    return np.array([GOING_ON * late, NO_PAUSE * early], np.float32)


class _Running:
    """The scores of what has begun and may still end, of the last frames only.

    A beginning is kept less the frame scores summed up to it; the sum at its end is added then.
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        events = len(model.sonority)
        self.longest = model.durations.shape[2]
        self.tables = np.ascontiguousarray(model.durations[:, :, ::-1])
        # Beginnings of events, and of something wrong for each where that is allowed.
        shape = (1 + model.wrong_allowed, events, self.longest + 512)
        self.started = np.full(shape, _NONE, np.float32)
        self.column = self.longest
        self.grown = np.empty((*shape[:2], self.longest), np.float32)
        self.rows = self.longest * np.arange(events * shape[0]).reshape(shape[:2])
        self.cumulative = np.zeros(model.note.shape[1], np.float64)
        self.sums = self.cumulative[model.sonority]
        self.wrong_sums = np.cumsum(np.pad(model.wrong, (1, 0)), dtype=np.float64).astype(
            np.float32
        )
        self.held = np.full(events, _NONE, np.float32)
        self.held_from = np.zeros(events, np.int64)

    def end(self, t: int, best: Floats) -> NDArray[np.int64]:
        """Write the scores of ending before frame t; return how many frames ago each began."""
        sonority, frame = self.model.sonority, self.model.note[t - 1]
        self.cumulative += frame
        self.sums = self.cumulative[sonority]
        sums = self.sums.astype(np.float32)
        started = self.started[:, :, self.column - self.longest : self.column]
        grown = np.add(started, self.tables[self.model.pace[t - 1]], out=self.grown)
        at = grown.argmax(axis=2)
        score = grown.ravel().take(at + self.rows)
        length: NDArray[np.int64] = self.longest - at[0]
        np.add(score[0], sums, out=best)
        # Longer than the table: the note is held.
        full = grown[0, :, 0] + sums
        self.held += frame[sonority]
        self.held -= np.float32(HOLD)
        self.held_from[full > self.held] = t - self.longest
        np.maximum(self.held, full, out=self.held)
        longer = self.held > best
        np.copyto(length, np.minimum(t - self.held_from, _LONGEST), where=longer)
        np.maximum(best, self.held, out=best)
        if self.model.wrong_allowed:
            odd = score[1] + self.wrong_sums[t]
            np.copyto(length, at[1] - self.longest, where=odd > best)
            np.maximum(best, odd, out=best)
        return length

    def begin(self, t: int, note: Floats, wrong: Floats | None) -> None:
        """Keep the scores of beginning at frame t."""
        if self.column == self.started.shape[2]:
            self.started[:, :, : self.longest] = self.started[:, :, -self.longest :]
            self.column = self.longest
        self.started[0, :, self.column] = note - self.sums
        if wrong is not None:
            self.started[1, :, self.column] = wrong - self.wrong_sums[t]
        self.column += 1
