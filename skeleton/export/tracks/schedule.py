"""When each sound of a practice track begins and ends: a passage meets tempo and tuning.

A track is made of rounds: for each tempo, as many as were asked for. A round is the count-in (a
bar of clicks), then the passage. With ``echo_bars`` the passage comes in pieces of so many bars,
each followed by as long a gap, in which the student answers and clicks keep the time; a piece
grows by a bar where a note sounds over its end. The drone sounds from first to last.

Grace notes begin 0.08 s each before their note, less where the note before them would lose more
than half of itself; that note ends where they begin.

Levels are RMS in dBFS: a note -20, a chord and a drone as a whole likewise divided among their
tones, the drone 12 dB under the notes. Seconds are counted from the start of the track.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

from skeleton.audio.sounds import CLICK_S
from skeleton.errors import OptionError
from skeleton.export.tracks.excerpt import Bar, Excerpt, Heard

NOTE_DBFS: Final = -20.0
DRONE_DBFS: Final = -32.0
CLICK_DBFS: Final = -24.0
"""Level of the first beat's click; the others are 4 dB softer."""

SLOWEST: Final = 10.0
FASTEST: Final = 400.0
MOST_ROUNDS: Final = 200
LONGEST_S: Final = 2 * 3600.0
GRACE_S: Final = 0.08

_WEAK_DB: Final = 4.0


@dataclass(frozen=True, slots=True)
class Event:
    """One sound: a note, a tone of the drone, or a click (``hz`` None).

    ``note`` is the id of the note in the score, for notes only.
    """

    start_s: float
    end_s: float
    hz: float | None
    level_dbfs: float
    kind: Literal["note", "drone", "click"]
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Round:
    """One time through: where its count-in and its music begin, where it ends, and how fast.

    ``tempo`` counts beats a minute; ``quarter_s`` is the length of a quarter in seconds.
    """

    start_s: float
    music_s: float
    end_s: float
    tempo: float
    quarter_s: float


@dataclass(frozen=True, slots=True)
class Schedule:
    """All sounds of a track in time order, and its rounds."""

    events: tuple[Event, ...]
    rounds: tuple[Round, ...]

    @property
    def end_s(self) -> float:
        """How long the track is."""
        return self.rounds[-1].end_s


def ladder(slowest: float, fastest: float, step: float) -> tuple[float, ...]:
    """Return tempos from one to the other by steps; the last one is always among them.

    Raises:
        OptionError: the step is not above 0, or there would be too many.
    """
    if not (step > 0 and math.isfinite(step)):
        raise OptionError(f"tempo steps of {step:g} lead nowhere; give --step a number above 0")
    for tempo in (slowest, fastest):
        _check_tempo(tempo)
    count = int(abs(fastest - slowest) / step + 1e-9)
    if count >= MOST_ROUNDS:
        raise OptionError(f"{count + 1} tempos are too many; give a larger --step")
    direction = 1 if fastest >= slowest else -1
    tempos = [slowest + direction * step * number for number in range(count + 1)]
    if abs(tempos[-1] - fastest) > 1e-9:
        tempos.append(fastest)
    return tuple(tempos)


def schedule(
    music: Excerpt,
    hz: Mapping[str, float],
    tempos: Sequence[float],
    *,
    times: int = 1,
    echo_bars: int = 0,
    drone_hz: Sequence[float] = (),
) -> Schedule:
    """Return when every sound of the track begins and ends.

    Args:
        music: the passage.
        hz: the frequency of each of its notes, by id.
        tempos: beats a minute, 10 to 400, one after the other.
        times: rounds at each tempo, 1 or more.
        echo_bars: bars after which the student answers; 0 for none.
        drone_hz: the tones of the drone; none where empty.

    Raises:
        OptionError: a tempo is out of range, or the track would last more than two hours.
    """
    for tempo in tempos:
        _check_tempo(tempo)
    if times < 1 or echo_bars < 0 or not 1 <= len(tempos) * times <= MOST_ROUNDS:
        raise OptionError(
            f"{len(tempos) * times} rounds cannot be made; ask for 1 to {MOST_ROUNDS}"
        )
    _check_length(music, tempos, times, echo=echo_bars > 0)
    pieces = _pieces(music, echo_bars)
    rounds: list[Round] = []
    events: list[Event] = []
    for tempo in (tempo for tempo in tempos for _ in range(times)):
        start = rounds[-1].end_s if rounds else 0.0
        played, made = _round(music, pieces, hz, start, tempo, echo=echo_bars > 0)
        rounds.append(played)
        events += made
    end = rounds[-1].end_s
    level = _shared(DRONE_DBFS, len(drone_hz))
    events += [Event(0.0, end, one, level, "drone") for one in drone_hz]
    return Schedule(tuple(sorted(events, key=lambda one: (one.start_s, one.end_s))), tuple(rounds))


def _check_tempo(tempo: float) -> None:
    if not SLOWEST <= tempo <= FASTEST:
        raise OptionError(
            f"a tempo of {tempo:g} beats a minute cannot be played; give {SLOWEST:g} to {FASTEST:g}"
        )


def _check_length(music: Excerpt, tempos: Sequence[float], times: int, *, echo: bool) -> None:
    beats = float((music.length * (2 if echo else 1) - music.lead_in) / music.beat)
    seconds = sum(60.0 / tempo * beats * times for tempo in tempos)
    if seconds > LONGEST_S:
        raise OptionError(
            f"the track would last {seconds / 60:.0f} minutes, more than {LONGEST_S / 60:.0f}; "
            "choose one --passage, fewer --times or a faster tempo"
        )


def _pieces(music: Excerpt, echo_bars: int) -> list[tuple[Bar, ...]]:
    """The bars in pieces; no note sounds over the end of one."""
    if not echo_bars:
        return [music.bars]
    crossed: set[Fraction] = set()
    ends = [bar.end for bar in music.bars]
    for note in music.notes:
        if not note.grace:
            crossed.update(end for end in ends if note.start < end < note.end)
    pieces: list[tuple[Bar, ...]] = []
    piece: list[Bar] = []
    for bar in music.bars:
        piece.append(bar)
        # A pickup is answered together with the bar that it leads to.
        full = len(piece) - (not pieces and music.pickup)
        if full >= echo_bars and bar.end not in crossed:
            pieces.append(tuple(piece))
            piece = []
    return [*pieces, tuple(piece)] if piece else pieces


def _round(
    music: Excerpt,
    pieces: Sequence[tuple[Bar, ...]],
    hz: Mapping[str, float],
    start_s: float,
    tempo: float,
    *,
    echo: bool,
) -> tuple[Round, list[Event]]:
    quarter = Fraction(60) / Fraction(tempo) / music.beat
    begin = Fraction(start_s)

    def at(time: Fraction) -> float:
        return float(begin + time * quarter)

    events = [
        _click(at(beat - music.lead_in), strong=place == 0)
        for place, beat in enumerate(music.count_in)
    ]
    # How much later than in the excerpt everything stands, from each piece's start on.
    later = -music.lead_in
    shifts: list[tuple[Fraction, Fraction]] = []
    for piece in pieces:
        shifts.append((piece[0].start, later))
        if echo:
            later += piece[-1].end - piece[0].start
            events += [
                _click(at(beat + later), strong=beat == bar.start)
                for bar in piece
                for beat in bar.beats
            ]
    timed = _timed(music.notes, shifts, at)
    together = Counter(start for start, _, _ in timed)
    events += [
        Event(start, end, hz[note.note], _shared(NOTE_DBFS, together[start]), "note", note.note)
        for start, end, note in timed
    ]
    end = at(music.length + later)
    return Round(start_s, at(-music.lead_in), end, tempo, float(quarter)), events


def _timed(
    notes: Sequence[Heard],
    shifts: Sequence[tuple[Fraction, Fraction]],
    at: Callable[[Fraction], float],
) -> list[tuple[float, float, Heard]]:
    """Start and end of every note in seconds; grace notes take their time from what is before."""
    pieces = [start for start, _ in shifts]
    lines: defaultdict[tuple[str, int, str], list[tuple[float, float, Heard]]] = defaultdict(list)
    graces: defaultdict[tuple[tuple[str, int, str], float], list[Heard]] = defaultdict(list)
    small: list[tuple[float, float, Heard]] = []
    for note in notes:
        later = shifts[bisect_right(pieces, note.start) - 1][1]
        start = at(note.start + later)
        if note.grace:
            graces[note.line, start].append(note)
        else:
            lines[note.line].append((start, at(note.end + later), note))
    for (line, main_s), group in graces.items():
        own = lines[line]
        following = bisect_left(own, main_s, key=lambda one: one[0])
        before_s = own[following - 1][0] if following else 0.0
        count = max(note.grace for note in group)
        each = min(GRACE_S, (main_s - before_s) / (2 * count))
        for index in range(following - 1, -1, -1):
            start, end, note = own[index]
            if start < before_s:
                break
            own[index] = (start, min(end, main_s - count * each), note)
        small += [
            (main_s - note.grace * each, main_s - (note.grace - 1) * each, note) for note in group
        ]
    return [*small, *(one for own in lines.values() for one in own)]


def _click(start_s: float, *, strong: bool) -> Event:
    level = CLICK_DBFS if strong else CLICK_DBFS - _WEAK_DB
    return Event(start_s, start_s + CLICK_S, None, level, "click")


def _shared(level_dbfs: float, tones: int) -> float:
    """The level of each of several tones that together have a level."""
    return level_dbfs - 10.0 * math.log10(max(1, tones))
