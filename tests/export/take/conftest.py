"""A small etude and a take of it with known faults, judged once."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from skeleton.export.engraving.engraver import Engraver
from skeleton.listening.events import ScoreEvent, score_events
from skeleton.listening.listen import listen
from skeleton.listening.note_targets import note_targets
from skeleton.listening.pitch_curves import NoteCurve, pitch_curves
from skeleton.listening.report import TakeReport
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz

OFF_CENTS = {4: 24.0, 11: -22.0, 18: 30.0}
VIBRATO_AT = 9
VIBRATO_CENTS = 18.0
VIBRATO_HZ = 5.5
STEADY_AT = (1, 13, 20)
"""Long notes without vibrato: somebody who swings on most long notes is measured less surely."""

PAUSE_BEFORE = 16
"""A stop of two seconds before this event."""


def _made():
    name = "performances"
    if name not in sys.modules:
        path = Path(__file__).parents[2] / "listening" / f"{name}.py"
        spec = importlib.util.spec_from_file_location(name, path)
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@dataclass(frozen=True)
class Take:
    """The take: its sound, its report, the curves of its notes, and the truth."""

    samples: np.ndarray
    rate: int
    report: TakeReport
    curves: tuple[NoteCurve, ...]
    events: tuple[ScoreEvent, ...]
    starts_s: tuple[float, ...]
    source: bytes

    def note(self, place: int) -> str:
        """Id of the first note of an event."""
        return self.events[place].notes[0]

    def curve(self, place: int) -> NoteCurve:
        """Curve of that note."""
        return next(one for one in self.curves if one.judged.note == self.note(place))


@pytest.fixture(scope="session")
def take() -> Take:
    """Four open strings, then an etude of three measures, some notes off, one with vibrato."""
    made = _made()
    tones = made.tones
    analysis, data = made.etude(3, 24)
    targets = note_targets(analysis, analysis.parts[0])
    events = score_events(analysis.score.parts[0], {k: one.hz for k, one in targets.items()})
    line = [
        tones.Tone(hz, 0.3 + 1.3 * place, 1.5 + 1.3 * place)
        for place, hz in enumerate(open_string_hz(INSTRUMENTS["violin"]))
    ]
    at, starts = 6.5, []
    for place, event in enumerate(events):
        at += 2.0 if place == PAUSE_BEFORE else 0.0
        longer = 0.8 if place == VIBRATO_AT else 0.4 if place in STEADY_AT else 0.1
        length = 0.5 * float(event.quarters) + longer
        hz = event.hz[0] * 2 ** (OFF_CENTS.get(place, 0.0) / 1200)
        swing = (VIBRATO_HZ, VIBRATO_CENTS) if place == VIBRATO_AT else (0.0, 0.0)
        line.append(tones.Tone(hz, at, at + length, *swing))
        starts.append(at)
        at += length
    samples = np.asarray(tones.mixed(line, 5), dtype=np.float32)
    report = listen(analysis, samples, made.RATE)
    curves = pitch_curves(samples, made.RATE, report)
    return Take(samples, made.RATE, report, curves, events, tuple(starts), data)


@pytest.fixture(scope="session")
def engraver():
    """One engraver for all tests of a process."""
    with Engraver() as running:
        yield running
