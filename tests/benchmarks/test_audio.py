"""How much faster than it plays sound is made, and in how much memory."""

from __future__ import annotations

import tracemalloc
from pathlib import Path
from time import process_time

import pytest

from skeleton.audio.drone import drone, drone_blocks
from skeleton.audio.writer import write_sound
from skeleton.export.tracks.schedule import Event, Round, Schedule
from skeleton.export.tracks.track import write_track

RATE = 44100
STRINGS_HZ = (1760 / 9, 880 / 3, 440.0, 660.0)

REAL_TIME_SHARE = 1 / 60
"""Sound is to be made at least sixty times faster than it plays, on one core."""

MOST_MEMORY_MB = 40.0
"""For any length: tables of at most 64 tones (0.5 MB each), the list of sounds, one block."""


def track(seconds: float, note_s: float = 0.25) -> Schedule:
    """Notes four a second, in double stops, over a drone of two strings."""
    events = [Event(0.0, seconds, hz, -35.0, "drone") for hz in STRINGS_HZ[1:3]]
    for number in range(int(seconds / note_s)):
        for hz in (220.0 * 2 ** (number % 25 / 12), 330.0 * 2 ** (number % 17 / 12)):
            start = number * note_s
            events.append(Event(start, start + note_s, hz, -23.0, "note", f"n{number}"))
        events.append(Event(number * note_s, number * note_s + 0.06, None, -24.0, "click"))
    return Schedule(tuple(events), (Round(0.0, 0.0, seconds, 60.0, 1.0),))


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg", ".mp3"])
def test_two_minutes_of_track(benchmark, suffix, tmp_path):
    made = track(120.0)
    path = tmp_path / f"track{suffix}"
    benchmark.pedantic(write_track, (made, path), rounds=1)
    assert path.stat().st_size > 100_000


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg", ".mp3"])
def test_sound_is_made_far_faster_than_it_plays(against, suffix, tmp_path):
    made = track(120.0)
    spent_s = min(_cpu_s(lambda: write_track(made, tmp_path / f"t{suffix}")) for _ in range(3))
    against.row(f"a track as {suffix}", "real time", spent_s / 120.0, REAL_TIME_SHARE)


def test_drones_are_made_far_faster_than_they_play(against, tmp_path):
    made = drone(STRINGS_HZ, 120.0, RATE)

    def write() -> None:
        write_sound(Path(tmp_path / "d.wav"), drone_blocks(made), RATE, ".wav")

    spent_s = min(_cpu_s(write) for _ in range(3))
    against.row("a drone of four strings", "real time", spent_s / 120.0, REAL_TIME_SHARE)


@pytest.mark.parametrize("minutes", [1, 30])
def test_memory_does_not_grow_with_the_track(minutes, tmp_path):
    made = track(60.0 * minutes, note_s=1.0)
    path = tmp_path / "track.wav"
    tracemalloc.start()
    try:
        write_track(made, path, rate=16000)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert path.stat().st_size > 60 * minutes * 16000 * 2
    assert peak < MOST_MEMORY_MB * 1e6


def _cpu_s(action) -> float:
    begin = process_time()
    action()
    return process_time() - begin
