"""Etudes and takes of them that nobody wrote or played, with exact truth.

An etude is made of scales, thirds, broken chords, repeated notes, pedal patterns and pairs in which
an altered lower neighbour is slurred to its note. A performance plays it with a wandering tempo,
slow places, stops, restarts, repeated attempts, wrong, extra and left-out notes, and notes that are
off by known amounts. Everything random comes from a seed: seeds below 100 are for development,
those from 100 on are looked at once per table.
"""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import numpy as np

from skeleton.analysis.analyse import analyse
from skeleton.analysis.results import Analysis
from skeleton.score.reading import read_bytes
from skeleton.theory.pitch import DIATONIC, SEMITONES, STEPS, Pitch

DIVISIONS = 12
TYPES = {Fraction(1, 4): "16th", Fraction(1, 2): "eighth", Fraction(1): "quarter"}
LETTERS_SHARP = "FCGDAEB"


def _tones():
    """The additive violin; it lies in another test folder, and test folders are no packages."""
    name = "violin_tones"
    if name not in sys.modules:
        path = Path(__file__).parents[1] / "audio" / "violin_tones.py"
        spec = importlib.util.spec_from_file_location(name, path)
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


tones = _tones()
RATE = tones.RATE


@dataclass(frozen=True)
class Written:
    """A note of an etude: pitch, length, and where its slur begins or ends."""

    pitch: Pitch
    quarters: Fraction
    slur: str = ""


@dataclass(frozen=True)
class Sung:
    """What was played: index of the event, or -1; sounding pitch; times; what it was."""

    event: int
    hz: float
    cents: float
    start_s: float
    end_s: float
    kind: str = "note"
    vibrato: float = 0.0
    restart: bool = False

    @property
    def cycles(self) -> float:
        """About how many swings of vibrato the note holds, 0 for a steady one."""
        return 5.5 * (self.end_s - self.start_s) if self.vibrato else 0.0


@dataclass
class Habits:
    """How somebody plays; the defaults are those of the table."""

    off_sd_cents: float = 18.0
    off_limit_cents: float = 60.0
    tuning_cents: float = 0.0
    restarts: float = 4.0
    wrong: float = 0.015
    extra: float = 0.007
    skipped: float = 0.008
    vibrato: float = 0.2
    quarter_bpm: tuple[float, float] = (55.0, 100.0)
    given_cents: dict = field(default_factory=dict)


def etude_notes(rng: np.random.Generator, count: int, fifths: int) -> list[Written]:
    """Return about that many notes in whole bars of four quarters."""
    unit = Fraction(1, 4) if rng.random() < 0.4 else Fraction(1, 2)
    place = int(rng.integers(32, 40))
    found: list[Written] = []
    while len(found) < count:
        kind = rng.choice(["scale", "thirds", "chord", "repeat", "pedal", "pairs", "pairs"])
        step = int(rng.choice([-1, 1]))
        if place > 43:
            step = -1
        if place < 33:
            step = 1
        if kind == "scale":
            found += [Written(_in_key(place + step * i, fifths), unit) for i in range(8)]
            place += 7 * step
        elif kind == "thirds":
            steps = [0, 2, 1, 3, 2, 4, 3, 5]
            found += [Written(_in_key(place + step * i, fifths), unit) for i in steps]
            place += 4 * step
        elif kind == "chord":
            steps = [0, 2, 4, 7, 4, 2, 0, 2]
            found += [Written(_in_key(place + i, fifths), unit) for i in steps]
        elif kind == "repeat":
            steps = [0, 0, 1, 1, 2, 2, 3, 3]
            found += [Written(_in_key(place + step * i, fifths), unit) for i in steps]
            place += 3 * step
        elif kind == "pedal":
            steps = [0, 4, 0, 3, 0, 2, 0, 1]
            found += [Written(_in_key(place + i, fifths), unit) for i in steps]
        else:
            for i in range(4):
                upper = _in_key(place + step * i, fifths)
                found.append(Written(_below(upper), unit, "start"))
                found.append(Written(upper, unit, "stop"))
            place += 3 * step
    # Now and then a longer note takes the place of two.
    out: list[Written] = []
    i = 0
    while i < len(found):
        if not found[i].slur and i % 4 == 0 and i + 1 < len(found) and rng.random() < 0.1:
            out.append(Written(found[i].pitch, 2 * unit))
            i += 2
        else:
            out.append(found[i])
            i += 1
    per_bar = Fraction(4)
    total = sum((note.quarters for note in out), Fraction(0))
    missing = -total % per_bar
    while missing > 0:
        out.append(Written(out[-1].pitch, unit))
        missing -= unit
    return out


def music(notes: list[Written], fifths: int) -> bytes:
    """Return the notes as MusicXML, slurred as marked, the ids n1, n2 ..."""
    bars: list[str] = []
    at = Fraction(0)
    for number, note in enumerate(notes, start=1):
        if at % 4 == 0:
            bars.append("")
        alter = f"<alter>{note.pitch.alter}</alter>" if note.pitch.alter else ""
        slur = f'<notations><slur type="{note.slur}"/></notations>' if note.slur else ""
        bars[-1] += (
            f'<note id="n{number}"><pitch><step>{note.pitch.step}</step>{alter}'
            f"<octave>{note.pitch.octave}</octave></pitch>"
            f"<duration>{int(note.quarters * DIVISIONS)}</duration><voice>1</voice>"
            f"<type>{TYPES[note.quarters]}</type>{slur}</note>"
        )
        at += note.quarters
    head = (
        f"<attributes><divisions>{DIVISIONS}</divisions><key><fifths>{fifths}</fifths></key>"
        "<time><beats>4</beats><beat-type>4</beat-type></time>"
        "<clef><sign>G</sign><line>2</line></clef></attributes>"
    )
    measures = "".join(
        f'<measure number="{i}">{head if i == 1 else ""}{bar}</measure>'
        for i, bar in enumerate(bars, start=1)
    )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin'
        f'</part-name></score-part></part-list><part id="P1">{measures}</part></score-partwise>'
    ).encode()


def etude(seed: int, count: int = 120) -> tuple[Analysis, bytes]:
    """Return an etude of about that many notes, analysed, and its bytes."""
    rng = np.random.default_rng(1000 + seed)
    fifths = int(rng.integers(-3, 4))
    data = music(etude_notes(rng, count, fifths), fifths)
    return analyse(read_bytes(data, f"made-{seed}.musicxml")), data


def perform(
    quarters: list[float],
    hz: list[float],
    seed: int,
    habits: Habits | None = None,
) -> list[Sung]:
    """Return what somebody plays of the events, with times from a little after 0."""
    habits = habits or Habits()
    rng = np.random.default_rng(seed)
    count = len(hz)
    off = np.clip(
        rng.normal(0.0, habits.off_sd_cents, count),
        -habits.off_limit_cents,
        habits.off_limit_cents,
    )
    quarter_s = 60.0 / rng.uniform(*habits.quarter_bpm)
    pace = 1.0
    stops = sorted(rng.choice(np.arange(4, count), rng.poisson(habits.restarts), replace=True))
    time = float(rng.uniform(0.4, 1.5))
    out: list[Sung] = []
    event = 0
    restart = False
    slow = 0
    while event < count:
        pace = float(np.clip(pace * np.exp(rng.normal(0, 0.03)), 0.7, 1.4))
        if slow == 0 and rng.random() < 0.015:
            slow = int(rng.integers(4, 12))
        factor = 1.6 if slow else 1.0
        slow = max(0, slow - 1)
        length = max(0.06, quarters[event] * quarter_s * pace * factor * rng.normal(1, 0.06))
        chance = rng.random()
        if chance < habits.skipped and out and not restart and event + 1 < count:
            event += 1
            continue
        cents = habits.given_cents.get(event, float(off[event] + rng.normal(0, 4)))
        kind, number = "note", event
        sounding = hz[event] * 2 ** (habits.tuning_cents / 1200)
        if habits.skipped <= chance < habits.skipped + habits.wrong:
            kind, number = "wrong", -1
            sounding *= 2 ** (int(rng.choice([-2, -1, 1, 2])) / 12)
        vibrato = 0.0
        if length > 0.35 and rng.random() < habits.vibrato:
            vibrato = float(rng.uniform(10, 30))
        out.append(
            Sung(
                number,
                sounding * 2 ** (cents / 1200),
                cents,
                time,
                time + length,
                kind,
                vibrato,
                restart,
            )
        )
        restart = False
        time += length
        if rng.random() < habits.extra:
            odd = hz[event] * 2 ** (int(rng.choice([-2, -1, 1, 2])) / 12)
            length = float(rng.uniform(0.1, 0.3))
            out.append(Sung(-1, odd, 0.0, time, time + length, "extra"))
            time += length
        if stops and event >= stops[0]:
            stops.pop(0)
            time += float(rng.uniform(0.3, 2.5))
            choice = rng.random()
            back = int(rng.integers(0, 15)) if choice < 0.7 else int(rng.integers(0, event + 1))
            event = max(0, event - back)
            if rng.random() < 0.35:
                stops.insert(0, min(count - 1, event + int(rng.integers(3, 12))))
            restart = True
            continue
        if rng.random() < 0.01:
            time += float(rng.uniform(0.3, 1.2))
        event += 1
    return out


def sound(played: list[Sung], seed: int, chain: str = "clean") -> np.ndarray:
    """Return the performance as samples at :data:`RATE`, through a recording chain."""
    rng = np.random.default_rng(seed)
    body = tones.body(rng)
    whole = np.zeros(round((played[-1].end_s + 1.0) * RATE))
    for one in played:
        tone = tones.Tone(
            one.hz, one.start_s, one.end_s, float(rng.uniform(5, 6.3)) if one.vibrato else 0.0,
            one.vibrato, float(rng.uniform(0.7, 1.3)),
        )  # fmt: skip
        part = tones.played(tone, rng, body)
        first = round(one.start_s * RATE)
        part = part[: len(whole) - first]
        whole[first : first + len(part)] += part
    whole = (0.1 * (whole + rng.normal(0, 1e-3, len(whole)))).astype(np.float32)
    return recorded(whole, seed, chain)


def recorded(whole: np.ndarray, seed: int, chain: str) -> np.ndarray:
    """Return what a recording chain makes of a sound."""
    if chain == "clean":
        return whole
    if chain == "phone":
        return tones.phone(whole, seed)
    if chain == "room":
        return tones.room(whole, 0.5, seed)
    if chain == "room+phone":
        return tones.phone(tones.room(whole, 0.5, seed), seed)
    raise ValueError(chain)


def talk(seconds: float, seed: int) -> np.ndarray:
    """Return something like a voice: gliding syllables of 110 to 230 Hz under a formant."""
    rng = np.random.default_rng(seed)
    out = rng.normal(0, 3e-4, round(seconds * RATE))
    at = 0.2
    while at < seconds - 0.5:
        length = float(rng.uniform(0.1, 0.35))
        time = np.arange(round(length * RATE)) / RATE
        glide = rng.normal(0, 0.25) * time / length + 0.03 * np.sin(6 * np.pi * time)
        phase = 2 * np.pi * np.cumsum(rng.uniform(110, 230) * 2**glide) / RATE
        formant = rng.uniform(300, 900)
        voice = sum(
            np.sin(k * phase) * np.exp(-(((150 * k - formant) / 400) ** 2)) / k**0.3
            for k in range(1, 20)
        )
        first = round(at * RATE)
        out[first : first + len(time)] += 0.03 * voice * np.sin(np.pi * time / length) ** 0.5
        at += length + (float(rng.uniform(0.02, 0.12)) if rng.random() < 0.8 else 0.5)
    return out.astype(np.float32)


def _in_key(place: int, fifths: int) -> Pitch:
    octave, letter = divmod(place, 7)
    step = STEPS[letter]
    order = LETTERS_SHARP if fifths > 0 else LETTERS_SHARP[::-1]
    alter = (1 if fifths > 0 else -1) if step in order[: abs(fifths)] else 0
    pitch = Pitch(step, alter, octave)
    return pitch if pitch.midi >= 55 else Pitch("G", 0, 3)


def _below(upper: Pitch) -> Pitch:
    """The note a half step below, on the letter below."""
    place = upper.diatonic - 1
    octave, letter = divmod(place, 7)
    natural = 12 * (octave + 1) + SEMITONES[STEPS[letter]]
    alter = int(upper.midi) - 1 - natural
    assert DIATONIC[STEPS[letter]] == letter
    return Pitch(STEPS[letter], alter, octave)
