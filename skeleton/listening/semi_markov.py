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
_WAYS, _AFTER_REST, _AS_EXTRA, _WRONG_ENDS = 3, 4, 8, 16
_RESTED, _REST_BEGINS = 1, 2


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
    """The forward pass keeps one column of scores and the back pointers of all."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.frames = len(model.rest)
        self.events = len(model.sonority)
        self.longest = model.durations.shape[2]
        self.near_onset = np.lib.stride_tricks.sliding_window_view(np.pad(model.onset, 1), 3).max(
            axis=1
        )
        shape = (self.frames + 1, self.events)
        self.length = np.zeros(shape, np.int16)
        # How each event, and something wrong for it, begins at a frame; and what ends there.
        self.begun = np.zeros(shape, np.uint8)
        self.nearby = np.zeros(shape, np.int8)
        self.far = np.zeros(self.frames + 1, np.int16)
        # One more in a row: place 0 is "nothing played yet", place i the end of event i - 1.
        self.places = np.zeros((self.frames + 1, self.events + 1), np.uint8)
        self.rested = np.zeros(self.events + 1, np.bool_)
        self.leaving_rested = np.zeros(self.events + 1, np.bool_)
        cost = np.where(model.grace[:-1], GRACE_SKIP, SKIP) + SKIPPED_TWIN * model.repeats[1:]
        self.skip_cost = cost.astype(np.float32)
        self.gain = np.where(model.barline, np.float32(BARLINE), np.float32(0.0))

    def run(self) -> Decoded:
        """Pass forward over the frames, then trace back."""
        n = self.events
        rest = np.full(n + 1, _NONE, np.float32)
        rest[0] = 0.0
        enter = np.full(n + 1, -REST, np.float32)
        enter[1:][self.model.rest_after] = -WRITTEN_REST
        finished = np.full(n + 1, _NONE, np.float32)
        finished[0] = 0.0
        source = finished
        leaving = finished
        since = np.zeros(n + 1, np.int64)
        stops = np.concatenate([[False], ~self.model.rest_after]).astype(np.float32)
        late, early = _rest_costs()
        near = _Window(n)
        running = _Running(self.model)
        for t in range(self.frames + 1):
            if t:
                end = self._ends(t, running)
                entered = finished + enter
                begins = entered > rest
                since[begins] = t - 1
                rest = np.where(begins, entered, rest) + self.model.rest[t - 1]
                finished = np.concatenate([[_NONE], end]).astype(np.float32)
                rested_for = np.minimum(t - since, LONG_PAUSE_FRAMES[1])
                going_on = rest - late[rested_for] * stops
                stopped = rest - early[rested_for]
                self.rested = going_on > finished
                self.places[t] = self.rested * np.uint8(_RESTED) + begins * np.uint8(_REST_BEGINS)
                source = np.where(self.rested, going_on, finished)
                direct = finished - np.float32(NO_PAUSE)
                leaving = np.maximum(direct, stopped)
                self.leaving_rested = stopped > direct
            if t < self.frames:
                running.begin(*self._begin(t, source, leaving, float(rest[0]), near))
        place = int(np.argmax(source))
        return Decoded(tuple(self._back(place)), float(source[place]))

    def _ends(self, t: int, running: _Running) -> Floats:
        """Scores of each event, or what stood in its place, ending before frame t."""
        frame = self.model.note[t - 1]
        table = running.tables[self.model.pace[t - 1]]
        running.add(frame, float(self.model.wrong[t - 1]))
        end, length = running.best(running.note_start, table)
        end += running.cumulative[self.model.sonority].astype(np.float32)
        # Longer than the table: the note is held.
        running.hold(t, frame, table)
        longer = running.held > end
        end = np.where(longer, running.held, end)
        length = np.where(longer, np.minimum(t - running.held_from, _LONGEST), length)
        if self.model.wrong_allowed:
            odd, odd_length = running.best(running.wrong_start, table)
            odd += np.float32(running.wrong_sum)
            wins = odd > end
            end = np.where(wins, odd, end)
            length = np.where(wins, odd_length, length)
            self.begun[t] = wins * np.uint8(_WRONG_ENDS)
        self.length[t] = length
        return end

    def _begin(
        self, t: int, source: Floats, leaving: Floats, silent: float, near: _Window
    ) -> tuple[Floats, Floats]:
        """Scores of beginning each event at frame t, as itself and as something wrong."""
        m, n = self.model, self.events
        onset = m.onset[t]
        best = source[:-1].copy()
        best -= np.where(
            m.repeats, np.float32(REPEAT_WITHOUT_ONSET * (1.0 - self.near_onset[t])), 0.0
        )
        way = np.zeros(n, np.uint8)
        rested = self.rested[:-1].copy()
        skipped = source[:-2] - self.skip_cost
        wins = skipped > best[1:]
        best[1:] = np.where(wins, skipped, best[1:])
        way[1:][wins] = _SKIP
        rested[1:] = np.where(wins, self.rested[:-2], rested[1:])
        value, index = near.over(leaving)
        smeared = np.float32(JUMP_WITHOUT_ONSET * (1.0 - self.near_onset[t]))
        value = value - np.float32(NEAR) + self.gain - smeared
        wins = value > best
        best = np.where(wins, value, best)
        way[wins] = _NEAR
        self.nearby[t] = index - near.index[:n]
        rested = np.where(wins, self.leaving_rested[index], rested)
        place = int(np.argmax(leaving[1:])) + 1
        away = leaving[place] - FAR
        if silent - START > away:
            place, away = 0, silent - START
        value = away + self.gain - smeared
        wins = value > best
        best = np.where(wins, value, best)
        way[wins] = _FAR
        self.far[t] = place
        rested = np.where(wins, self.leaving_rested[place], rested)
        odd = source[:-1] - np.float32(WRONG)
        more = source[1:] - np.float32(EXTRA)
        extra = more > odd
        self.begun[t] += way + rested * np.uint8(_AFTER_REST) + extra * np.uint8(_AS_EXTRA)
        bonus = np.float32(ONSET * onset)
        return best + bonus, np.where(extra, more, odd) + bonus

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
            first = t - int(self.length[t, event])
            begun = int(self.begun[first, event])
            if self.begun[t, event] & _WRONG_ENDS:
                extra = bool(begun & _AS_EXTRA)
                found.append(Stretch("wrong", event, first, t, extra=extra))
                place = event + 1 if extra else event
                rested = bool(self.places[first, place] & _RESTED)
            else:
                way = begun & _WAYS
                found.append(Stretch("note", event, first, t, jump=way in (_NEAR, _FAR)))
                place = self._origin(first, event, way)
                rested = bool(begun & _AFTER_REST)
            t = first
        found.reverse()
        return found

    def _origin(self, t: int, event: int, way: int) -> int:
        """The place from which an event begins at frame t."""
        if way == _NEAR:
            return event + int(self.nearby[t, event])
        return int(self.far[t]) if way == _FAR else event - (way == _SKIP)


def _rest_costs() -> tuple[Floats, Floats]:
    """What going on, and going elsewhere, costs after a rest of so many frames."""
    first, last = LONG_PAUSE_FRAMES
    frames = np.arange(last + 1)
    late = np.clip((frames - first) / (last - first), 0.0, 1.0)
    early = np.clip(1.0 - frames / PAUSE_FRAMES, 0.0, 1.0)
    return (GOING_ON * late).astype(np.float32), (NO_PAUSE * early).astype(np.float32)


class _Running:
    """The scores of what has begun and may still end, of the last frames only.

    A beginning is kept less the frame scores summed up to it; the sum at its end is added then.
    """

    def __init__(self, model: Model) -> None:
        self.sonority = model.sonority
        self.longest = model.durations.shape[2]
        self.tables = np.ascontiguousarray(model.durations[:, :, ::-1])
        events = len(model.sonority)
        self.width = self.longest + 1024
        self.note_start = np.full((events, self.width), _NONE, np.float32)
        self.wrong_start = np.full((events, self.width), _NONE, np.float32)
        self.column = self.longest
        self.cumulative = np.zeros(model.note.shape[1], np.float64)
        self.wrong_sum = 0.0
        self.held = np.full(events, _NONE, np.float32)
        self.held_from = np.zeros(events, np.int64)
        self.rows = np.arange(events)

    def add(self, frame: Floats, wrong: float) -> None:
        """Take in the scores of the next frame."""
        self.cumulative += frame
        self.wrong_sum += wrong

    def best(self, started: Floats, table: Floats) -> tuple[Floats, NDArray[np.int64]]:
        """For each event the best of its beginnings, and how many frames ago that was."""
        grown = started[:, self.column - self.longest : self.column] + table
        at = grown.argmax(axis=1)
        return grown[self.rows, at], self.longest - at

    def hold(self, t: int, frame: Floats, table: Floats) -> None:
        """Let notes sound on that are longer than the longest duration."""
        oldest = self.note_start[:, self.column - self.longest] + table[:, 0]
        full = oldest + self.cumulative[self.sonority].astype(np.float32)
        self.held = self.held + frame[self.sonority] - np.float32(HOLD)
        newer = full > self.held
        self.held = np.where(newer, full, self.held)
        self.held_from = np.where(newer, t - self.longest, self.held_from)

    def begin(self, note: Floats, wrong: Floats) -> None:
        """Keep the scores of beginning now."""
        if self.column == self.width:
            self.note_start[:, : self.longest] = self.note_start[:, -self.longest :]
            self.wrong_start[:, : self.longest] = self.wrong_start[:, -self.longest :]
            self.column = self.longest
        self.note_start[:, self.column] = note - self.cumulative[self.sonority]
        self.wrong_start[:, self.column] = wrong - self.wrong_sum
        self.column += 1


class _Window:
    """The highest value among the next places of each, and where it is."""

    def __init__(self, events: int) -> None:
        self.events = events
        self.index = np.arange(events + NEAR_EVENTS + 1, dtype=np.int16)

    def over(self, leaving: Floats) -> tuple[Floats, Ints]:
        """For event e: the best of places e + 1 to e + NEAR_EVENTS (event e again, and later)."""
        value = np.concatenate([leaving[1:], np.full(NEAR_EVENTS, _NONE, np.float32)])
        index = self.index[1 : len(value) + 1]
        span = 1
        while span < NEAR_EVENTS:
            wins = value[span:] > value[:-span]
            index = np.where(wins, index[span:], index[:-span])
            value = np.where(wins, value[span:], value[:-span])
            span *= 2
        return value[: self.events], np.minimum(index[: self.events], self.events)
