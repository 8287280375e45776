"""Did the instrument ring with a note: a sign for every playing of a note named like a string.

What is measured
----------------
An open string that a note has set ringing goes on when the note stops or gives way to the next.
For every string that should answer (:mod:`skeleton.intonation.ring`) the modes it shares with the
note are followed after the note's end (:mod:`skeleton.audio.resonance`), as long as no partial of a
following note comes near and no following note is stopped on that string. The same is done with
partials that no string shares: they say how the room, the bow's release and the stopped string's
own ring die away in this take, for notes before a silence and before another note each by
themselves. What a string's modes hold over that, late rather than early, is the string's.

``level_db`` says how strongly: the string's first mode against the note's own partial, at the end
of the note. Mode m of a driven string answers as 1/m, and all modes die away as those of a string
with :data:`~skeleton.intonation.ring.ASSUMED_Q`; were the true Q 600 or 150, the level would come
out some 5 dB too high or 15 too low. Compare the same note at different times, not two notes.

* **answers**: over the room by two standard errors and 8 dB, falling at no more than three quarters
  of its rate, and at least at :data:`FAINT_DB`.
* **does not answer**: an answer of that level would have been seen, and is not there.
* **not measurable**: neither can be said; ``why`` tells the reason.

Limits
------
* Nothing is said of the time while the note sounds: the string then moves at the note's own
  partials, and no spectrum tells the two apart.
* A note that may be the open string itself is never measurable, nor is a double stop.
* The strings are tuned in fifths, so one partial mostly belongs to two of them: the sign is that of
  the note, ``strings`` name those that share it, strongest first.
* Where a note is stopped is not known: it is taken to be on the highest string that lies below it.
  In a high position the string that should answer may lie under the finger, and does not ring.
* A note that is off rings its string too, only weaker: by theory 17 dB at 20 cents, with Q of 300.
  "Answers" is no verdict on the pitch.
* A room that dies away as slowly as the strings hides them: from RT60 of 0.6 s on, many notes are
  not measurable.
* Checked on 200 synthetic takes (rooms of 0.2 to 0.6 s, half with a drone, strings coupled by -12
  to 0 dB or not at all). Of notes in tune 66 % were found before a silence, 41 % before another
  note, and none was said not to answer; without coupled strings 8 % were, and the rest was hidden.
  "Answers" was said of 0.2 % of notes without coupled strings, of 0.2 % at 50 cents off, of 11 % at
  20. Levels were right to 4 dB (one standard deviation).
  Of one real violin fifteen single notes with vibrato were looked at: those named like a string die
  away at Q of 182 to 1057 (median 417), the Cs, which no string answers, at 96 to 474 (median 185);
  which of them answered nobody noted. No recording with a known answer was to be had.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from skeleton.audio.resample import Mono
from skeleton.audio.resonance import (
    HIGHEST_HZ,
    Lost,
    Room,
    Spectra,
    Tone,
    Trace,
    room_fit,
    spectra,
    steady_power,
    trace,
)
from skeleton.listening.alignment import Alignment
from skeleton.listening.answer_level import answer_level
from skeleton.listening.events import ScoreEvent
from skeleton.listening.measure import HeardNote
from skeleton.listening.note_targets import NoteTarget
from skeleton.listening.string_modes import Mode, may_hold, shared_modes, touches
from skeleton.theory.pitch import Pitch
from skeleton.theory.strings import StringTuning
from skeleton.theory.tuning import cents

Sign = Literal["answers", "does not answer", "not measurable"]
Why = Literal[
    "open-string", "double-stop", "not-measured", "no-string", "too-short", "masked", "earlier",
    "no-comparison", "hidden",
]  # fmt: skip

FAINT_DB: Final = -20.0
"""A string at a tenth of the note's amplitude counts as answering (a choice of this program)."""

LEAST_OVER_DB: Final = 8.0
SURE: Final = 2.0
"""Standard errors that an answer must stand over the room."""

SLOWER: Final = 0.75
"""An answer falls at most at this share of the room's rate."""

LOUDEST_DB: Final = 6.0
"""A string gives the bridge no more than it takes: more is an error."""

EARLIER_S: Final = 0.6
"""A mode that another note drove so shortly before the end of this one may ring from that."""

LIFTED_S: Final = 0.1
"""A longer gap after a note: the bow was lifted or stopped."""

FEWEST_NOTES: Final = 3
"""Fewer notes with partials of their own do not show the room."""

_SAME_CENTS: Final = 25.0
_SAME_MODE_HZ: Final = 6.0
_AHEAD_S: Final = 1.2


@dataclass(frozen=True, slots=True)
class Resonance:
    """Whether open strings rang with one playing of a note.

    Attributes:
        note: its id.
        attempt: which time it was played.
        sign: what was found.
        why: the reason for ``not measurable``: it may be the ``open-string`` itself; it is in a
            ``double-stop``; its own pitch was ``not-measured``; ``no-string`` should answer; it or
            what follows is ``too-short``; what follows is ``masked``: it lies on the string or too
            near to its modes; the string may ring from an ``earlier`` note; there is
            ``no-comparison`` (too few partials that no string shares); or an answer would be
            ``hidden`` by room, noise or a drone.
        strings: the open strings that share its partials, strongest first.
        level_db: for ``answers``: how strongly (0: like the note itself); for ``does not answer``
            less than this; None where nothing was measured.
        u_db: uncertainty of that, two standard errors, the assumed Q not counted.
        over_room_db: how far the modes stood over what the room leaves.
        partials: how many were followed.
    """

    note: str
    attempt: int
    sign: Sign
    why: Why | None
    strings: tuple[Pitch, ...] = ()
    level_db: float | None = None
    u_db: float | None = None
    over_room_db: float | None = None
    partials: int = 0


@dataclass(frozen=True, slots=True)
class Asked:
    """A note of which the sign is wanted.

    Attributes:
        note: its id.
        attempt: which time it was played.
        pitch: its sounding pitch.
        target_hz: where that matches its open string.
        measured: whether its own pitch was measured.
    """

    note: str
    attempt: int
    pitch: Pitch
    target_hz: float
    measured: bool = True


@dataclass(frozen=True, slots=True)
class Sounded:
    """One thing played: when, at which pitches, and which of its notes are asked about."""

    tone: Tone
    asked: tuple[Asked, ...] = ()


@dataclass(frozen=True, slots=True)
class _Take:
    """What all notes of a take share."""

    found: Spectra
    sounded: tuple[Sounded, ...]
    tuning: StringTuning
    rooms: Mapping[bool, Room | None]
    steady: Mapping[Mode, float]


def resonances(
    samples: Mono,
    rate: int,
    events: Sequence[ScoreEvent],
    aligned: Alignment,
    *,
    heard: Sequence[HeardNote],
    targets: Mapping[str, NoteTarget],
    tuning: StringTuning,
) -> tuple[Resonance, ...]:
    """Return the sign of every playing of every note named like an open string, in time order.

    Args:
        samples: the take.
        rate: its samples a second.
        events: what it was aligned with.
        aligned: how.
        heard: the pitches measured in it.
        targets: of each note.
        tuning: the open strings as they were tuned.
    """
    sounded = _sounded(events, aligned, heard, targets)
    if not any(one.asked for one in sounded):
        return ()
    return rings(spectra(samples, rate), sounded, tuning)


def rings(
    found: Spectra, sounded: Sequence[Sounded], tuning: StringTuning
) -> tuple[Resonance, ...]:
    """Return the sign of each thing played that is asked about, in time order.

    Args:
        found: the take.
        sounded: everything that sounds in it, in time order.
        tuning: the open strings.
    """
    if not sounded:
        return ()
    rooms = {lifted: _room(found, sounded, tuning, lifted=lifted) for lifted in (True, False)}
    from_s, to_s = sounded[0].tone.start_s, sounded[-1].tone.end_s
    modes = {
        mode
        for one in sounded
        for asked in one.asked
        for mode in shared_modes(tuning, asked.pitch, asked.target_hz)[1]
    }
    steady = {mode: steady_power(found, mode.hz, from_s, to_s) for mode in modes}
    take = _Take(found, tuple(sounded), tuning, rooms, steady)
    return tuple(
        _sign(take, place, asked) for place, one in enumerate(sounded) for asked in one.asked
    )


def _sounded(
    events: Sequence[ScoreEvent],
    aligned: Alignment,
    heard: Sequence[HeardNote],
    targets: Mapping[str, NoteTarget],
) -> tuple[Sounded, ...]:
    ratio = 2.0 ** (aligned.offset_cents / 1200.0)
    measured: dict[tuple[int, float], list[HeardNote]] = {}
    for note in heard:
        measured.setdefault((note.event, note.start_s), []).append(note)
    found = [Sounded(Tone(first, last, ())) for first, last in aligned.unaligned_s]
    for one in aligned.played:
        if one.kind == "wrong":
            hz = () if one.heard_hz is None else (one.heard_hz,)
            found.append(Sounded(Tone(one.start_s, one.end_s, hz)))
            continue
        event = events[one.event]
        notes = measured.get((one.event, one.start_s), [])
        sure = [note.hz for note in notes if note.hz is not None and note.reason is None]
        held = tuple(hz * ratio for hz in event.held_hz)
        whole = len(sure) == len(event.notes)
        pitches = (*(sure if whole else [hz * ratio for hz in event.hz]), *held)
        asked = tuple(
            Asked(note, one.attempt, targets[note].sounding, targets[note].hz, whole)
            for note in event.notes
            if targets[note].role == "fixed"
        )
        found.append(Sounded(Tone(one.start_s, one.end_s, pitches), asked))
    return tuple(sorted(found, key=lambda one: one.tone.start_s))


def _following(sounded: Sequence[Sounded], place: int) -> list[Tone]:
    end_s = sounded[place].tone.end_s
    found = []
    for one in sounded[place + 1 :]:
        if one.tone.start_s > end_s + _AHEAD_S:
            break
        found.append(one.tone)
    return found


def _lifted(sounded: Sequence[Sounded], place: int) -> bool:
    """Whether silence follows."""
    if place + 1 == len(sounded):
        return True
    return sounded[place + 1].tone.start_s - sounded[place].tone.end_s > LIFTED_S


def _room(
    found: Spectra, sounded: Sequence[Sounded], tuning: StringTuning, *, lifted: bool
) -> Room | None:
    """How partials that no open string shares die away, after notes of one kind of ending."""
    traces: list[Trace] = []
    notes = 0
    for place, one in enumerate(sounded):
        if len(one.tone.hz) != 1 or _lifted(sounded, place) != lifted:
            continue
        hz = one.tone.hz[0]
        after = _following(sounded, place)
        mine = [
            trace(found, number * hz, number * hz, one.tone, after)
            for number in range(1, int(HIGHEST_HZ / hz) + 1)
            if not any(touches(number * hz, string) for string in tuning.hz)
        ]
        usable = [one for one in mine if isinstance(one, Trace)]
        notes += bool(usable)
        traces += usable
    return room_fit(traces) if notes >= FEWEST_NOTES else None


def _sign(take: _Take, place: int, asked: Asked) -> Resonance:
    tone = take.sounded[place].tone
    strings, modes = shared_modes(take.tuning, asked.pitch, asked.target_hz)

    def unknown(why: Why) -> Resonance:
        return Resonance(asked.note, asked.attempt, "not measurable", why, strings)

    if len(tone.hz) > 1:
        return unknown("double-stop")
    if asked.pitch in take.tuning.instrument.open_strings:
        return unknown("open-string")
    if not modes:
        return unknown("no-string")
    if not asked.measured:
        return unknown("not-measured")
    traces, lost = _traces(take, place, modes)
    if not traces:
        return unknown(lost)
    room = take.rooms[_lifted(take.sounded, place)]
    if room is None:
        return unknown("no-comparison")
    found = answer_level(traces, room)
    sign: Sign
    if (
        found.over_room_db > max(SURE * found.error_db, LEAST_OVER_DB)
        and found.fall_share <= SLOWER
        and FAINT_DB <= found.level_db <= LOUDEST_DB
    ):
        sign, level, u_db = "answers", found.level_db, found.u_db
    elif found.most_db < FAINT_DB:
        sign, level, u_db = "does not answer", found.most_db, found.u_db
    else:
        return unknown("hidden")
    return Resonance(
        asked.note, asked.attempt, sign, None, strings, level, u_db, found.over_room_db, len(traces)
    )


def _traces(take: _Take, place: int, modes: Sequence[Mode]) -> tuple[list[tuple[Mode, Trace]], Why]:
    """The modes that can be followed after a note; and why others cannot."""
    one = take.sounded[place].tone
    after = _following(take.sounded, place)
    held = {
        string: next(
            (tone.start_s for tone in after if may_hold(tone, string, take.tuning)), math.inf
        )
        for string in {mode.string for mode in modes}
    }
    found: list[tuple[Mode, Trace]] = []
    reasons: list[Lost | Literal["earlier"]] = []
    for mode in modes:
        if any(abs(mode.hz - other.hz) < _SAME_MODE_HZ for other, _ in found):
            continue
        if _stirred(take.sounded, place, mode.hz):
            reasons.append("earlier")
            continue
        got = trace(
            take.found,
            mode.partial * one.hz[0],
            mode.hz,
            one,
            after,
            steady=take.steady[mode],
            until_s=held[mode.string],
        )
        if isinstance(got, Trace):
            found.append((mode, got))
        else:
            reasons.append(got)
    for reason in ("earlier", "masked"):
        if reason in reasons:
            return found, reason
    return found, "too-short"


def _stirred(sounded: Sequence[Sounded], place: int, hz: float) -> bool:
    """Whether an earlier note drove a mode so lately that it may still ring from that."""
    end_s = sounded[place].tone.end_s
    for one in reversed(sounded[:place]):
        if one.tone.end_s < end_s - EARLIER_S:
            return False
        if not one.tone.hz:
            return True
        for pitch in one.tone.hz:
            if abs(cents(hz / (max(1, round(hz / pitch)) * pitch))) < _SAME_CENTS:
                return True
    return False
