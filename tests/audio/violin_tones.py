"""A violin made of sines, with exact truth: what estimators are tried on.

Everything random comes from a seed. A tone is the sum of harmonic partials whose common frequency
follows a known curve in cents: the aimed pitch, an onset slide that dies away, slow jitter of the
bow, and a vibrato where asked for. Partials fall as 1/n under body resonances that stand still in
frequency, so that vibrato also makes each partial's loudness move. Bow noise lies underneath.

The truth of a tone is the pitch aimed at; jitter and slide count as error of whoever measures. The
truth of a vibrato tone is the centre of its sinusoid, which is its mean over whole cycles.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

RATE = 22050

JITTER_SD_CENTS = (0.5, 1.5)
JITTER_TIME_S = 0.03
SLIDE_SD_CENTS = 25.0
SLIDE_TIME_S = 0.015
NOISE_DB = (-45.0, -30.0)


@dataclass(frozen=True)
class Tone:
    """A tone to make: aimed pitch, times, vibrato rate and extent (0 for none), loudness."""

    hz: float
    start_s: float
    end_s: float
    vibrato_hz: float = 0.0
    vibrato_cents: float = 0.0
    loudness: float = 1.0


@dataclass(frozen=True)
class Body:
    """Where an instrument's resonances lie, how wide and how strong they are."""

    hz: np.ndarray
    width: np.ndarray
    db: np.ndarray
    key: int = field(default=0)

    def gain(self, hz: np.ndarray) -> np.ndarray:
        place = np.log2(np.maximum(hz, 20.0))[..., None]
        bumps = self.db * np.exp(-0.5 * ((place - np.log2(self.hz)) / self.width) ** 2)
        return 10.0 ** (bumps.sum(axis=-1) / 20.0)


def body(rng: np.random.Generator) -> Body:
    count = 24
    return Body(
        hz=280.0 * 2.0 ** (np.arange(count) * 0.2 + rng.uniform(-0.08, 0.08, count)),
        width=rng.uniform(0.03, 0.1, count),
        db=rng.normal(0.0, 6.0, count),
    )


def jitter(rng: np.random.Generator, count: int, rate: int, sd_cents: float) -> np.ndarray:
    """A first-order process with the given spread, made every 2 ms and joined by lines."""
    step = 0.002
    nodes = int(count / rate / step) + 3
    keep = np.exp(-step / JITTER_TIME_S)
    shocks = rng.normal(0.0, sd_cents * np.sqrt(1.0 - keep**2), nodes)
    values = np.empty(nodes)
    values[0] = rng.normal(0.0, sd_cents)
    for i in range(1, nodes):
        values[i] = keep * values[i - 1] + shocks[i]
    return np.interp(np.arange(count) / rate, np.arange(nodes) * step, values)


def played(
    tone: Tone,
    rng: np.random.Generator,
    which: Body,
    rate: int = RATE,
    *,
    noise_db: float | None = None,
    release_s: float = 0.04,
) -> np.ndarray:
    """Return the samples of one tone; it dies away over ``release_s`` after its end."""
    length = tone.end_s - tone.start_s
    count = round((length + release_s) * rate)
    time = np.arange(count) / rate
    cents = jitter(rng, count, rate, rng.uniform(*JITTER_SD_CENTS))
    cents += rng.normal(0.0, SLIDE_SD_CENTS) * np.exp(-time / SLIDE_TIME_S)
    if tone.vibrato_hz:
        angle = 2 * np.pi * tone.vibrato_hz * time + rng.uniform(0, 2 * np.pi)
        cents += tone.vibrato_cents * np.sin(angle)
    hz = tone.hz * 2.0 ** (cents / 1200.0)
    phase = 2 * np.pi * np.cumsum(hz) / rate
    # Body gain is looked up on a coarse grid of time: it moves no faster than the vibrato.
    nodes = np.arange(0, count + 64, 64)
    hz_nodes = np.interp(nodes, np.arange(count), hz)
    sound = np.zeros(count)
    for k in range(1, int(min(30, 0.45 * rate / tone.hz)) + 1):
        gain = np.interp(np.arange(count), nodes, which.gain(k * hz_nodes)) / k
        sound += gain * np.sin(k * phase + rng.uniform(0, 2 * np.pi))
    slow = 1.0 + 0.1 * jitter(rng, count, rate, 1.0)
    attack = rng.uniform(0.01, 0.03)
    envelope = np.clip(time / attack, 0, 1) * np.clip((length + release_s - time) / release_s, 0, 1)
    envelope = np.sin(0.5 * np.pi * np.minimum(envelope, 1.0)) ** 2 * slow
    sound *= envelope * tone.loudness / max(1e-9, np.sqrt(np.mean(sound**2)))
    bow = np.convolve(rng.normal(size=count + 2), [0.25, 0.5, 0.25], mode="valid")
    level = rng.uniform(*NOISE_DB) if noise_db is None else noise_db
    return sound + bow / np.std(bow) * envelope * tone.loudness * 10.0 ** (level / 20.0)


def mixed(
    tones: list[Tone], seed: int, rate: int = RATE, *, end_s: float | None = None, **how: float
) -> np.ndarray:
    """Return several tones in one stretch of sound at about -20 dB of full scale."""
    rng = np.random.default_rng(seed)
    which = body(rng)
    last = max(tone.end_s for tone in tones) + 0.2 if end_s is None else end_s
    sound = np.zeros(round(last * rate))
    for tone in tones:
        part = played(tone, rng, which, rate, **how)
        first = round(tone.start_s * rate)
        part = part[: len(sound) - first]
        sound[first : first + len(part)] += part
    sound += rng.normal(0.0, 1e-3, len(sound))
    return (0.1 * sound).astype(np.float32)


def room(sound: np.ndarray, rt60_s: float, seed: int, rate: int = RATE, direct_db: float = 6.0):
    """Return the sound in a room: exponentially dying noise, the direct sound so much louder."""
    rng = np.random.default_rng(seed)
    time = np.arange(round(rt60_s * rate)) / rate
    tail = rng.normal(size=len(time)) * np.exp(-np.log(1000.0) * time / rt60_s)
    tail[: round(0.005 * rate)] = 0.0
    tail *= 10.0 ** (-direct_db / 20.0) / np.sqrt(np.sum(tail**2))
    size = 1 << int(np.ceil(np.log2(len(sound) + len(tail))))
    wet = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(tail, size), size)[: len(sound)]
    return (sound + wet).astype(np.float32)


def phone(sound: np.ndarray, seed: int, rate: int = RATE, noise_db: float = -35.0) -> np.ndarray:
    """Return what a phone's microphone makes of it: no bass, automatic gain, noise."""
    rng = np.random.default_rng(seed)
    size = 1 << int(np.ceil(np.log2(len(sound))))
    hz = np.fft.rfftfreq(size, 1.0 / rate)
    cut = (hz / 180.0) ** 2 / np.sqrt(1.0 + (hz / 180.0) ** 4)
    thin = np.fft.irfft(np.fft.rfft(sound, size) * cut, size)[: len(sound)]
    width = round(0.2 * rate)
    loud = np.sqrt(np.convolve(thin**2, np.ones(width) / width, mode="same") + 1e-8)
    evened = thin * (0.1 / loud) ** 0.5
    level = np.sqrt(np.mean(evened**2))
    noise = rng.normal(0.0, level * 10.0 ** (noise_db / 20.0), len(sound))
    return (evened + noise).astype(np.float32)


def from_midi(midi: float, cents: float = 0.0) -> float:
    return 440.0 * 2.0 ** ((midi - 69.0 + cents / 100.0) / 12.0)
