"""What listening to a take costs: time, memory, and the measuring of its notes.

The takes are practice tracks of an etude made by rule. Ten minutes of 304 notes are a slow reading;
the metre is 8/8, for a practice track plays no fewer than ten beats a minute.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from skeleton.analysis.analyse import analyse
from skeleton.audio.decode import RATE, open_recording, samples
from skeleton.audio.pitch import Measured, measure
from skeleton.export.tracks.practice import practice
from skeleton.export.tracks.schedule import Event
from skeleton.export.tracks.track import write_track
from skeleton.intonation.targets import targets
from skeleton.score.reading import read_bytes

GOAL_MB = 500.0
REAL_TIME_SHARE = 1 / 20

NOTES_AGREE_CENTS = 0.1
"""How near the two readers of a minute's notes come to each other, note by note."""

MARGIN_S = 0.05
"""What is cut out on both sides of a note, as listening does."""

FLOOR_HZ, CEILING_HZ = 150.0, 2000.0
"""The range of the etude made by rule, with room."""


def recorded(asked, etude, folder: Path, notes: int, beats_a_minute: float) -> tuple[Path, Path]:
    """Write an etude and a take of it, with ``skeleton playalong``."""
    score, take = folder / "etude.musicxml", folder / "take.wav"
    data = etude(notes).replace(b"<beats>4<", b"<beats>8<")
    score.write_bytes(data.replace(b"<beat-type>4<", b"<beat-type>8<"))
    asked(
        "playalong", score, "--stage", "all", "--drone", "none", "--tempo", str(beats_a_minute),
        "--rate", "44100", "-o", take, "-q",
    )  # fmt: skip
    return score, take


def test_a_short_take_is_listened_to(asked, etude, tmp_path: Path) -> None:
    score, take = recorded(asked, etude, tmp_path, 32, 60.0)
    heard = json.loads(asked("listen", score, take, "--json", "-q").said)
    assert [one["verdict"] for one in heard["notes"]] == ["in tune"] * 32


def test_ten_minutes_are_listened_to(against, asked, etude, tmp_path: Path) -> None:
    score, take = recorded(asked, etude, tmp_path, 304, 15.2)
    length_s = soundfile.info(take).duration
    assert 600 < length_s < 660
    runs = [asked("listen", score, take, "--json", "-q") for _ in range(2)]
    heard = json.loads(runs[0].said)["notes"]
    assert sum(one["verdict"] == "in tune" for one in heard) == 304
    name = "listen to ten minutes"
    against.row(f"{name}: memory", "500 MB", max(one.megabytes for one in runs) / GOAL_MB, 1.0)
    least_s = min(one.processor_s for one in runs)
    against.row(f"{name}: processor time", "real time", least_s / length_s, REAL_TIME_SHARE)


# --- the notes of a minute, against Praat's pitch tracking


@dataclass(frozen=True)
class Minute:
    """The sound of a take, and its notes as they were played."""

    sound: np.ndarray
    notes: list[Event]

    def measured(self) -> list[Measured]:
        """Measure every note, with the one before it as what may ring on."""
        found = []
        for place, note in enumerate(self.notes):
            first = max(0, math.floor((note.start_s - MARGIN_S) * RATE))
            one = measure(
                self.sound[first : math.ceil((note.end_s + MARGIN_S) * RATE)],
                RATE,
                note.hz,
                start_s=note.start_s - first / RATE,
                end_s=note.end_s - first / RATE,
                also_hz=[before.hz for before in self.notes[max(0, place - 1) : place]],
            )
            assert isinstance(one, Measured)
            found.append(one)
        return found


@pytest.fixture(scope="module")
def minute(etude, tmp_path_factory: pytest.TempPathFactory) -> Minute:
    """Half a second for each of 128 notes; the clicks of the count-in are cut off."""
    found = targets(analyse(read_bytes(etude(128), "etude.musicxml")))
    made = practice(found, None, "all", [32.0], drone=()).schedule
    path = tmp_path_factory.mktemp("minute") / "take.wav"
    write_track(made, path)
    notes = [event for event in made.events if event.kind == "note"]
    begin_s = made.rounds[0].music_s
    sound = samples(open_recording(path), begin_s, made.end_s).astype(float)
    shifted = [
        replace(one, start_s=one.start_s - begin_s, end_s=one.end_s - begin_s) for one in notes
    ]
    return Minute(sound, shifted)


def by_praat(sound: np.ndarray):
    """Praat's pitch of all of it, by autocorrelation, every 10 ms."""
    parselmouth = pytest.importorskip("parselmouth", reason="praat-parselmouth is not installed")
    whole = parselmouth.Sound(sound, sampling_frequency=float(RATE))
    return whole.to_pitch_ac(time_step=0.01, pitch_floor=FLOOR_HZ, pitch_ceiling=CEILING_HZ)


def test_both_read_the_same_pitches(minute: Minute) -> None:
    assert len(minute.notes) == 128
    tracked = by_praat(minute.sound)
    times_s, hz = tracked.xs(), tracked.selected_array["frequency"]
    apart = []
    for note, one in zip(minute.notes, minute.measured(), strict=True):
        quarter_s = (note.end_s - note.start_s) / 4
        middle = (times_s > note.start_s + quarter_s) & (times_s < note.end_s - quarter_s)
        inside = hz[middle & (hz > 0)]
        apart.append(1200 * math.log2(one.hz / np.median(inside)) if len(inside) else math.inf)
    assert max(map(abs, apart)) < NOTES_AGREE_CENTS


def test_measuring_a_minute_of_notes(against, minute: Minute) -> None:
    by_praat(minute.sound)
    against(
        "the pitches of 128 notes, a minute",
        minute.measured,
        "Praat's pitch tracking",
        lambda: by_praat(minute.sound),
        at_most=None,
    )
