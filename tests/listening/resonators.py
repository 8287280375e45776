"""A violin whose open strings answer, with exact truth.

The bowed string is a sum of sines at the bridge. Every open string that no finger holds is a bank
of second-order resonators, one a mode, driven by that bridge signal; what they do is added to it,
and all of it goes through the same body. For a string of wave impedance Z, driven at its end by a
bridge of admittance Y, mode m answers at resonance with Z |Y| 2 Q / (pi m) times the force that
moves the bridge (the string's driving-point impedance near a mode, as used in the loaded junction
of coupled strings: J. O. Smith, Physical Audio Signal Processing, "Two Coupled Strings",
dsprelated.com/freebooks/pasp/Two_Coupled_Strings.html). The factor for m = 1 is the parameter
``coupling_db``. What it may be: with Z of 0.17 to 0.35 kg/s and |Y| of 0.01 to 0.1 s/kg (both from
memory) and Q of 300, between -5 and +15 dB; but what a string gives to the bridge it loses, so
that with Q measured on the instrument it can hardly pass 0 dB. -12 to 0 dB is tried.

No published Q of violin strings was found; 300 is taken unless said otherwise (an A that dies away
by 60 dB in 1.5 s). Single notes of a real violin die away as if it were about 180 to 740
(``tests/audio/test_real_ringing.py``).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np

from skeleton.audio.resonance import Tone
from skeleton.intonation.ring import usual_string
from skeleton.listening.resonance import Asked, Sounded
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz
from skeleton.theory.pitch import parse_pitch
from skeleton.theory.tuning import pythagorean_hz

MODES = 14


@dataclass(frozen=True)
class Bowed:
    """A note: pitch, times, the string it is stopped on (index), whether the bow is then lifted."""

    hz: float
    start_s: float
    end_s: float
    on: int
    lifted: bool = False
    vibrato_cents: float = 0.0


@dataclass(frozen=True)
class Instrument:
    """Open strings (Hz), their Q, how strongly the bridge moves them (None: not at all)."""

    strings_hz: tuple[float, ...]
    quality: float = 300.0
    coupling_db: float | None = -6.0
    own_ring_s: float = 0.2
    """T60 of a stopped string after the bow is lifted."""


@dataclass(frozen=True)
class Recording:
    """Room (RT60, 0 for none), noise and a drone in the headphones, dB from the notes' level."""

    rt60_s: float = 0.3
    noise_db: float = -60.0
    drone_hz: tuple[float, ...] = ()
    drone_db: float = -50.0
    tail_s: float = field(default=0.8)


def take(tones, notes, violin: Instrument, recorded: Recording, seed: int) -> np.ndarray:
    """Return the samples of a take at the rate of ``tones``, at about -20 dB of full scale."""
    rng = np.random.default_rng(seed)
    rate = tones.RATE
    count = round((notes[-1].end_s + recorded.tail_s) * rate)
    bridge = np.zeros(count)
    for note in notes:
        part = _bowed(tones, note, violin, rng, rate)
        first = round(note.start_s * rate)
        part = part[: count - first]
        bridge[first : first + len(part)] += part
    whole = bridge.copy()
    if violin.coupling_db is not None:
        for string, hz in enumerate(violin.strings_hz):
            for first, last in _free(notes, string, count, rate):
                whole[first:last] += _answer(bridge[first:last], hz, violin, rate)
    whole = _through(tones.body(rng), whole, rate)
    level = np.sqrt(np.mean(whole**2))
    if recorded.rt60_s:
        whole = _in_room(whole, recorded.rt60_s, float(rng.uniform(0.0, 9.0)), rng, rate)
    time = np.arange(count) / rate
    for hz in recorded.drone_hz:
        drone = sum(np.sin(2 * np.pi * k * hz * time + k) / k for k in range(1, 9))
        whole = whole + level * 10 ** (recorded.drone_db / 20) * drone / np.std(drone)
    whole = whole + rng.normal(0.0, level * 10 ** (recorded.noise_db / 20), count)
    return (0.1 * whole / level).astype(np.float32)


def _bowed(tones, note: Bowed, violin: Instrument, rng, rate: int) -> np.ndarray:
    """One note at the bridge: partials as 1/n, slide, jitter, bow noise, and how it ends."""
    length = note.end_s - note.start_s
    release = 0.04
    ring = min(1.0, violin.own_ring_s) if note.lifted else 0.0
    count = round((length + release + ring) * rate)
    time = np.arange(count) / rate
    cents = tones.jitter(rng, count, rate, rng.uniform(*tones.JITTER_SD_CENTS))
    cents += rng.normal(0.0, tones.SLIDE_SD_CENTS) * np.exp(-time / tones.SLIDE_TIME_S)
    if note.vibrato_cents:
        cents += note.vibrato_cents * np.sin(2 * np.pi * 5.5 * time + rng.uniform(0, 6.28))
    phase = 2 * np.pi * np.cumsum(note.hz * 2 ** (cents / 1200)) / rate
    sound = np.zeros(count)
    for k in range(1, int(min(30, 0.45 * rate / note.hz)) + 1):
        sound += np.sin(k * phase + rng.uniform(0, 2 * np.pi)) / k
    fall = np.clip((length + release - time) / release, 0, 1)
    fall = np.sin(0.5 * np.pi * fall) ** 2
    if note.lifted:
        # The bow goes and the stopped string rings on, as long as a finger lets it.
        since = np.maximum(time - length, 0.0)
        fall = np.exp(-np.log(1000.0) * since / violin.own_ring_s)
        fall[-round(0.02 * rate) :] *= np.linspace(1, 0, round(0.02 * rate))
    envelope = np.clip(time / rng.uniform(0.01, 0.03), 0, 1) * fall
    slow = 1.0 + 0.1 * tones.jitter(rng, count, rate, 1.0)
    bow = rng.normal(size=count) * (time < length + release)
    level = 10 ** (rng.uniform(*tones.NOISE_DB) / 20)
    loudness = rng.uniform(0.7, 1.3)
    return loudness * envelope * (slow * sound + level * bow)


def _free(notes, string: int, count: int, rate: int):
    """The stretches in which no finger lies on a string."""
    begin = 0
    for note in notes:
        if note.on == string:
            first = round(note.start_s * rate)
            if first > begin:
                yield begin, first
            begin = min(count, round(note.end_s * rate))
    if begin < count:
        yield begin, count


def _answer(bridge: np.ndarray, hz: float, violin: Instrument, rate: int) -> np.ndarray:
    """What the modes of one open string give back; the last 10 ms fade under the next finger."""
    size = 1 << int(np.ceil(np.log2(len(bridge) + 3 * rate)))
    place = np.fft.rfftfreq(size, 1.0 / rate)
    gain = np.zeros(len(place), dtype=complex)
    for mode in range(1, MODES + 1):
        centre = mode * hz
        if centre > 0.4 * rate:
            break
        gain += (1.0 / mode) / (1.0 + 2j * violin.quality * (place - centre) / centre)
    gain *= 10 ** (violin.coupling_db / 20)
    found = np.fft.irfft(np.fft.rfft(bridge, size) * gain, size)[: len(bridge)]
    fade = min(len(found), round(0.01 * rate))
    found[-fade:] *= np.linspace(1, 0, fade)
    return found


def _through(body, sound: np.ndarray, rate: int) -> np.ndarray:
    size = 1 << int(np.ceil(np.log2(len(sound) + rate // 4)))
    gain = body.gain(np.fft.rfftfreq(size, 1.0 / rate))
    return np.fft.irfft(np.fft.rfft(sound, size) * gain, size)[: len(sound)]


def _in_room(sound: np.ndarray, rt60_s: float, direct_db: float, rng, rate: int) -> np.ndarray:
    """The sound in a room that keeps low tones longer: RT60 halves over four octaves."""
    count = round(2.0 * rt60_s * rate)
    short = 1 << int(np.ceil(np.log2(count)))
    place = np.maximum(np.fft.rfftfreq(short, 1.0 / rate), 1.0)
    time = np.arange(count) / rate
    tail = np.zeros(count)
    edges = [0.0, 350.0, 700.0, 1400.0, 2800.0, rate]
    for low, high in itertools.pairwise(edges):
        middle = min(max(1.4 * low, 250.0), 4000.0)
        decay = rt60_s * (middle / 700.0) ** -0.25
        noise = np.fft.rfft(rng.normal(size=short))
        noise[(place < low) | (place >= high)] = 0.0
        tail += np.fft.irfft(noise, short)[:count] * np.exp(-np.log(1000.0) * time / decay)
    tail[: round(0.005 * rate)] = 0.0
    tail *= 10.0 ** (-direct_db / 20.0) / np.sqrt(np.sum(tail**2))
    size = 1 << int(np.ceil(np.log2(len(sound) + count)))
    return (
        sound + np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(tail, size), size)[: len(sound)]
    )


@dataclass(frozen=True)
class Conditions:
    """How a take is played and recorded; cents are those of the notes asked about."""

    coupling_db: float | None = -6.0
    off_cents: float = 0.0
    quality: float = 300.0
    rt60_s: float = 0.3
    noise_db: float = -60.0
    drone: bool = False
    notes: int = 20
    shortest_s: float = 0.25


FIXED = ("G4", "D5", "G5", "A5", "A3", "E4")
OTHERS = ("F#4", "C#5", "Bb4", "F5", "C5", "G#4", "Eb5", "F#5", "B4", "C4", "Bb3", "G#5")
TIMING_SD_S = 0.02
"""How well an alignment knows when a note begins and ends."""


def made_take(tones, seed: int, how: Conditions):
    """Return a take of random notes: samples, what sounds when (as aligned), which are lifted."""
    rng = np.random.default_rng(seed)
    violin = INSTRUMENTS["violin"]
    strings = open_string_hz(violin)
    at = 0.5
    notes, sounded = [], []
    for number in range(how.notes):
        asked = bool(rng.random() < 0.45)
        pitch = parse_pitch(str(rng.choice(FIXED if asked else OTHERS)))
        target = pythagorean_hz(pitch)
        off = how.off_cents * rng.choice([-1, 1]) if asked else rng.normal(0, 8)
        hz = float(target * 2 ** (off / 1200))
        length = rng.uniform(how.shortest_s, 0.8)
        lifted = bool(rng.random() < 0.35) or number == how.notes - 1
        vibrato = float(rng.uniform(10, 25)) if rng.random() < 0.3 else 0.0
        on = violin.open_strings.index(usual_string(violin, pitch))
        notes.append(Bowed(hz, at, at + length, on, lifted, vibrato))
        begin, end = np.array([at, at + length]) + rng.normal(0, TIMING_SD_S, 2)
        key = (Asked(f"{number}", 1, pitch, target),) if asked else ()
        sounded.append(Sounded(Tone(float(begin), float(end), (hz,)), key))
        at += length + (rng.uniform(0.3, 0.9) if lifted else 0.0)
    played = Instrument(strings, how.quality, how.coupling_db, float(rng.uniform(0.1, 0.4)))
    recorded = Recording(how.rt60_s, how.noise_db, (strings[1],) if how.drone else (), -45.0)
    samples = take(tones, notes, played, recorded, seed)
    return samples, sounded, {f"{number}": note.lifted for number, note in enumerate(notes)}
