"""Real notes are calibrated over whole cycles of vibrato, and a take put together from them is
followed; see ``spliced.py`` for the notes and for what is true of them.

The calibration is checked twice: on tones made with a known centre, heard by Praat like the real
ones; and on the real notes against plain means from one upward crossing of the curve to another,
which are whole cycles whatever period was found.
"""

from __future__ import annotations

import numpy as np
import pytest

from skeleton.audio.pitch import Measured, measure
from skeleton.audio.resample import resampled
from skeleton.listening.events import score_events
from skeleton.listening.note_targets import note_targets

PITCH_TOLERANCE_CENTS = 6.0
KNOWN_CENTRE_CENTS = 0.5
WHOLE_CYCLES_CENTS = 1.0
CUT_CENTS = 0.6
LEAP_CENTS = 30.0
SWING_CENTS = 6.0
"""Less vibrato than this to either side cannot show what a part of a cycle does."""


@pytest.fixture(scope="session")
def notes(spliced):
    if spliced.folder() is None:
        pytest.skip("no real notes: set SKELETON_VIOLIN_NOTES and install praat-parselmouth")
    return spliced.real_notes(spliced.folder())


@pytest.mark.parametrize("rate_hz", [(4.8, 4.8), (5.6, 5.6), (6.8, 6.8), (5.0, 6.2)])
@pytest.mark.parametrize("drift_cents", [0.0, 10.0])
def test_a_tone_with_vibrato_gets_its_known_centre_back(spliced, rate_hz, drift_cents):
    """Of pieces of 0.2 to 0.5 s, from the attack on; plain means of the same are off by cents."""
    times = np.arange(3 * spliced.SOURCE_RATE) / spliced.SOURCE_RATE
    bow_cents = drift_cents * times / 3.0 - 40.0 * np.exp(-times / 0.015)
    note = _calibrated(spliced, bow_cents + _vibrato_cents(spliced, rate_hz, 20.0))
    off, plain_off = [], []
    for start_s in np.arange(0.0, 2.4, 0.037):
        for length_s in (0.2, 0.28, 0.36, 0.5):
            from_s, to_s = (start_s + share * length_s for share in spliced.MIDDLE)
            known = 0.5 * (from_s + to_s) / 3.0 * drift_cents
            off.append(_true_cents(note, from_s, to_s) - known)
            plain_off.append(_plain_cents(note, from_s, to_s) - known)
    assert np.max(np.abs(off)) < KNOWN_CENTRE_CENTS
    assert np.quantile(np.abs(plain_off), 0.9) > 5 * KNOWN_CENTRE_CENTS


def test_a_tone_that_hardly_swings_is_averaged_plainly(spliced):
    note = _calibrated(spliced, 7.0 + _vibrato_cents(spliced, (5.5, 5.5), 2.0))
    assert set(note.period_s) == {spliced.STEADY_S}
    assert abs(_true_cents(note, 0.3, 0.5) - 7.0) < KNOWN_CENTRE_CENTS


@pytest.mark.parametrize("rate_hz", [4.4, 5.5, 7.4])
def test_the_period_of_vibrato_is_found(spliced, rate_hz):
    note = _calibrated(spliced, _vibrato_cents(spliced, (rate_hz, rate_hz), 10.0))
    assert np.max(np.abs(note.period_s * rate_hz - 1.0)) < 0.03


def test_no_curve_leaps(notes):
    """Praat's own leap by 60 cents where the bow turns; a swing of vibrato moves less in 5 ms."""
    for note in notes:
        assert np.max(np.abs(1200 * np.diff(np.log2(note.hz)))) < LEAP_CENTS


def test_over_whole_cycles_the_truth_is_the_plain_mean(notes):
    """Four cycles, counted by crossings, of every real note that swings."""
    for note in notes:
        if _swing_cents(note) < SWING_CENTS:
            continue
        up = _crossings_s(note, upward=True)
        apart = [
            _true_cents(note, first, last) - _plain_cents(note, first, last)
            for first, last in zip(up[:-4], up[4:], strict=True)
            if 0.6 < last - first < 0.9
        ]
        assert len(apart) > 20
        assert abs(np.mean(apart)) < WHOLE_CYCLES_CENTS / 10
        assert np.max(np.abs(apart)) < WHOLE_CYCLES_CENTS


def test_over_a_cycle_and_a_half_only_the_plain_mean_moves_with_the_phase(notes):
    """Its plain mean lies high where it begins with a crest, and low with a trough."""
    for note in notes:
        if _swing_cents(note) < SWING_CENTS:
            continue
        plain, true = [], []
        up, down = _crossings_s(note, upward=True), _crossings_s(note, upward=False)
        for first in up:
            later = down[down > first]
            if len(later) < 2 or not 0.2 < later[1] - first < 0.4:
                continue
            half_s = later[0] - first
            for found, how in ((plain, _plain_cents), (true, _true_cents)):
                crest, trough = (how(note, first + by, later[1] + by) for by in (0.0, half_s))
                found.append(crest - trough)
        assert len(plain) > 20
        assert np.mean(plain) > 0.3 * _swing_cents(note)
        assert abs(np.mean(true)) < min(WHOLE_CYCLES_CENTS, 0.15 * np.mean(plain))


def test_a_stretch_cut_out_has_the_pitch_wanted_over_its_own_cycles(made, spliced, notes):
    """The finished sound is calibrated anew, as if it were a sample."""
    apart = []
    for number, hz in enumerate((225.0, 311.0, 452.0, 587.0, 905.0, 1250.0, 1600.0, 2000.0)):
        played = [made.Sung(0, hz, 0.0, 0.3, 1.9)]
        sound = spliced.sound(made, played, number, notes, "clean")
        sound = sound[round(0.3 * made.RATE) : round(1.9 * made.RATE)]
        again = np.concatenate([*resampled([sound], made.RATE, spliced.SOURCE_RATE)])
        found = spliced.calibrated(again, hz)
        apart.append(_cents(found.pitch_hz(*(1.6 * share for share in spliced.MIDDLE)) / hz))
    assert np.max(np.abs(apart)) < CUT_CENTS


def test_a_spliced_note_has_the_pitch_that_was_wanted(made, spliced, notes):
    """Measured by the package, where Praat's curve set it: a bow leaves some cents between."""
    apart = []
    for number, hz in enumerate((220.0, 311.0, 452.0, 587.0, 880.0, 1250.0)):
        played = [made.Sung(0, hz, 0.0, 0.3, 1.6)]
        sound = spliced.sound(made, played, number, notes, "clean")
        found = measure(sound, made.RATE, hz, start_s=0.3, end_s=1.6)
        assert isinstance(found, Measured)
        apart.append(abs(found.cents))
    assert max(apart) < PITCH_TOLERANCE_CENTS
    assert np.median(apart) < PITCH_TOLERANCE_CENTS / 3


def test_a_spliced_take_is_followed(made, scoring, spliced, notes):
    analysis, _ = made.etude(7, 28)
    targets = note_targets(analysis, analysis.parts[0])
    line = score_events(analysis.score.parts[0], {key: one.hz for key, one in targets.items()})
    quarters = [float(one.quarters) for one in line]
    hz = [one.hz[0] for one in line]
    played = made.perform(quarters, hz, 7, made.Habits(restarts=1.5, vibrato=0.0))
    report, _ = scoring.heard(made, analysis, spliced.sound(made, played, 7, notes, "room"))
    total = scoring.Score()
    scoring.score(report, played, 0.0, total, 7)
    assert total.right_pitch / total.notes >= 0.97


def _calibrated(spliced, cents):
    """A tone of twelve partials whose pitch goes like that, from 440 Hz, one value a sample."""
    pytest.importorskip("parselmouth", reason="praat-parselmouth is not installed")
    phase = 2 * np.pi * np.cumsum(440.0 * 2 ** (cents / 1200)) / spliced.SOURCE_RATE
    tone = sum(np.sin(partial * phase) / partial for partial in range(1, 13))
    return spliced.calibrated(0.1 * tone, 440.0)


def _vibrato_cents(spliced, rate_hz, extent_cents):
    """Three seconds of vibrato whose rate goes from one to another."""
    rates = np.linspace(*rate_hz, 3 * spliced.SOURCE_RATE)
    return extent_cents * np.sin(2 * np.pi * np.cumsum(rates) / spliced.SOURCE_RATE)


def _crossings_s(note, upward: bool) -> np.ndarray:
    """When the curve crosses its smooth middle, between two of its values."""
    cents = 1200 * np.log2(note.hz / 440.0)
    window = np.hanning(121)
    ones = np.convolve(np.ones(len(cents)), window, "same")
    about = cents - np.convolve(cents, window, "same") / ones
    about = np.convolve(about, np.ones(7) / 7, "same") * (1 if upward else -1)
    at = np.flatnonzero((about[:-1] < 0) & (about[1:] >= 0))
    step = note.times_s[1] - note.times_s[0]
    return note.times_s[at] + step * about[at] / (about[at] - about[at + 1])


def _swing_cents(note) -> float:
    return float(np.sqrt(2) * np.std(1200 * np.log2(note.hz / note.centre_hz)))


def _true_cents(note, from_s: float, to_s: float) -> float:
    return _cents(note.pitch_hz(from_s, to_s) / 440.0)


def _plain_cents(note, from_s: float, to_s: float) -> float:
    times = np.linspace(from_s, to_s, 400)
    return float(1200 * np.interp(times, note.times_s, np.log2(note.hz / 440.0)).mean())


def _cents(ratio: float) -> float:
    return float(1200 * np.log2(ratio))
