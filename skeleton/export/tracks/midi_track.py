"""A practice track as a Standard MIDI File in which every note carries its exact pitch.

MIDI knows equal temperament only, and bends whole channels. So each note that sounds gets a
channel to itself, bent before it begins: MPE (MIDI Polyphonic Expression 1.0, 2018), lower zone
with channel 1 as its master and channels 2 to 9 for the notes. Channel 10 stays outside the zone
and clicks (General MIDI percussion). Players that know no MPE read the same file rightly, for the
zone's messages are plain ones to them and the bend range is set on every channel.

The range is 2 half steps up and down over 16384 values, so one value is 200/8192 = 0.024 cent and
a rounded bend is at most 0.0123 cent off. Frequencies count from A4 = 440 Hz as in the MIDI Tuning
Standard; another A is bent as well. Ticks are 960 to a quarter; each round has its tempo, in whole
microseconds a quarter, which moves a beat by less than a millionth.

The bytes are written here after the Standard MIDI Files 1.0 specification: format 0, one track.
"""

from __future__ import annotations

import struct
from bisect import bisect_right
from collections.abc import Iterable
from typing import Final

from skeleton.errors import OptionError
from skeleton.export.tracks.schedule import Event, Round, Schedule
from skeleton.theory.midi import nearest_midi

TICKS: Final = 960
"""Ticks in a quarter."""

BEND_RANGE_CENTS: Final = 200.0
BEND_CENTRE: Final = 8192

PROGRAMS: Final[dict[str, int]] = {"violin": 40, "viola": 41, "cello": 42, "double bass": 43}
"""General MIDI programs from 0, by instrument; others sound as a violin."""

_MASTER: Final = 0
_MEMBERS: Final = tuple(range(1, 9))
_PERCUSSION: Final = 9
_CLICK_KEY: Final = 37  # side stick in General MIDI
_CLICK_TICKS: Final = TICKS // 16
_SAME_S: Final = 1e-9
_VELOCITY: Final[dict[str, int]] = {"note": 80, "drone": 44, "click": 64}

_OFF, _SETUP, _BEND, _ON = range(4)
"""Order of messages at one tick."""

_Message = tuple[int, int, bytes]
"""Tick, order within the tick, bytes."""


def midi_bytes(made: Schedule, *, instrument: str = "violin") -> bytes:
    """Return the track as a MIDI file.

    Args:
        made: what sounds when.
        instrument: whose General MIDI program plays.

    Raises:
        OptionError: more than eight tones sound at once, or one is outside MIDI's range.
    """
    ticks = _Clock(made.rounds)
    messages: list[_Message] = [*_zone(PROGRAMS.get(instrument, PROGRAMS["violin"]))]
    for played in made.rounds:
        microseconds = round(played.quarter_s * 1e6)
        if microseconds >= 1 << 24:
            raise OptionError("the tempo is too slow for a MIDI file; choose a faster one")
        tempo = b"\xff\x51\x03" + microseconds.to_bytes(3, "big")
        messages.append((ticks.at(played.start_s), _SETUP, tempo))
    tones = [event for event in made.events if event.hz is not None]
    for event, channel in _channels(tones, ticks):
        messages += _tone(event, channel, ticks)
    for event in made.events:
        if event.hz is None:
            messages += _note(event, _PERCUSSION, _CLICK_KEY, ticks)
    end = ticks.at(made.end_s)
    return _file(sorted(messages, key=lambda message: message[:2]), end)


def bend_of(hz: float) -> tuple[int, int]:
    """Return the key and the bend value, 0 to 16383, that sound nearest to a frequency in Hz.

    Raises:
        OptionError: the key is outside 0 to 127.
    """
    key, cents = nearest_midi(hz)
    if not 0 <= key <= 127:
        raise OptionError(f"{hz:g} Hz is outside MIDI's range; leave that note out")
    return key, BEND_CENTRE + round(cents / BEND_RANGE_CENTS * BEND_CENTRE)


class _Clock:
    """Seconds to ticks: each round runs at its own tempo."""

    def __init__(self, rounds: tuple[Round, ...]) -> None:
        self._starts_s = [played.start_s for played in rounds]
        self._quarters_s = [played.quarter_s for played in rounds]
        self._ticks = [0]
        for played in rounds:
            length = round((played.end_s - played.start_s) / played.quarter_s * TICKS)
            self._ticks.append(self._ticks[-1] + length)

    def at(self, seconds: float) -> int:
        """Return the tick of a moment of the track."""
        index = max(0, bisect_right(self._starts_s, seconds + _SAME_S) - 1)
        since = (seconds - self._starts_s[index]) / self._quarters_s[index]
        return self._ticks[index] + round(since * TICKS)


def _zone(program: int) -> Iterable[_Message]:
    """The zone's size (RPN 6), and on each channel program and bend range (RPN 0)."""
    yield from _parameter(_MASTER, 6, len(_MEMBERS))
    for channel in (_MASTER, *_MEMBERS):
        yield 0, _SETUP, bytes((0xC0 | channel, program))
        yield from _parameter(channel, 0, int(BEND_RANGE_CENTS // 100))


def _parameter(channel: int, number: int, value: int) -> Iterable[_Message]:
    # Registered parameter, its value (coarse and fine), then none chosen, so nothing hits it later.
    for controller, data in ((101, 0), (100, number), (6, value), (38, 0), (101, 127), (100, 127)):
        if controller == 38 and number == 6:
            continue
        yield 0, _SETUP, bytes((0xB0 | channel, controller, data))


def _channels(tones: list[Event], ticks: _Clock) -> Iterable[tuple[Event, int]]:
    """Give each tone a channel of its own; the one that has been silent longest comes first."""
    free_from = dict.fromkeys(_MEMBERS, -1)
    for event in sorted(tones, key=lambda one: (one.start_s, one.kind != "drone")):
        channel = min(free_from, key=lambda one: free_from[one])
        if free_from[channel] > ticks.at(event.start_s):
            raise OptionError(
                f"more than {len(_MEMBERS)} tones sound at once, too many for a MIDI file; "
                "choose a sound file, one --part or a smaller --drone"
            )
        free_from[channel] = max(ticks.at(event.end_s), ticks.at(event.start_s) + 1)
        yield event, channel


def _tone(event: Event, channel: int, ticks: _Clock) -> list[_Message]:
    if event.hz is None:
        return []
    key, bend = bend_of(event.hz)
    bent = bytes((0xE0 | channel, bend & 0x7F, bend >> 7))
    return [(ticks.at(event.start_s), _BEND, bent), *_note(event, channel, key, ticks)]


def _note(event: Event, channel: int, key: int, ticks: _Clock) -> list[_Message]:
    start = ticks.at(event.start_s)
    end = start + _CLICK_TICKS if event.hz is None else max(ticks.at(event.end_s), start + 1)
    return [
        (start, _ON, bytes((0x90 | channel, key, _VELOCITY[event.kind]))),
        (end, _OFF, bytes((0x80 | channel, key, 64))),
    ]


def _file(messages: Iterable[_Message], end: int) -> bytes:
    track = bytearray()
    before = 0
    for tick, _, data in messages:
        track += _length(tick - before) + data
        before = tick
    track += _length(max(0, end - before)) + b"\xff\x2f\x00"
    header = b"MThd" + struct.pack(">IHHH", 6, 0, 1, TICKS)
    return header + b"MTrk" + struct.pack(">I", len(track)) + bytes(track)


def _length(value: int) -> bytes:
    """Write a number as MIDI files do: seven bits a byte, all but the last marked."""
    parts = [value & 0x7F]
    while value > 0x7F:
        value >>= 7
        parts.append(0x80 | value & 0x7F)
    return bytes(reversed(parts))
