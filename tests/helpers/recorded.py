"""An etude as a file and a take of it as a recording: open strings first, some notes off."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import soundfile
from folders import helper

from skeleton.listening.events import ScoreEvent, score_events
from skeleton.listening.note_targets import note_targets
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz


class Recorded(NamedTuple):
    """The two files, the etude's bytes and its events."""

    etude: Path
    sound: Path
    data: bytes
    events: tuple[ScoreEvent, ...]


def recorded(
    folder: Path, notes: int, off_cents: Mapping[int, float], *, tuned_cents: float = 0.0
) -> Recorded:
    """Write both files.

    Args:
        folder: where.
        notes: how long the etude is.
        off_cents: how far the events of these indices are off.
        tuned_cents: how far all of it is off, the strings with it.
    """
    made = helper("listening/performances")
    analysis, data = made.etude(3, notes)
    etude = folder / "etude.musicxml"
    etude.write_bytes(data)
    targets = note_targets(analysis, analysis.parts[0])
    events = score_events(analysis.score.parts[0], {k: one.hz for k, one in targets.items()})
    ratio = 2 ** (tuned_cents / 1200)
    strings = open_string_hz(INSTRUMENTS["violin"])
    line = [
        made.tones.Tone(hz * ratio, 0.3 + 1.3 * i, 1.5 + 1.3 * i) for i, hz in enumerate(strings)
    ]
    at = 6.5
    for place, event in enumerate(events):
        length = 0.5 * float(event.quarters) + 0.1
        hz = event.hz[0] * ratio * 2 ** (off_cents.get(place, 0.0) / 1200)
        line.append(made.tones.Tone(hz, at, at + length))
        at += length
    sound = folder / "take.wav"
    soundfile.write(sound, made.tones.mixed(line, 5), made.RATE)
    return Recorded(etude, sound, data, tuple(events))
