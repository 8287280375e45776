"""The estimator on tones of known pitch; the whole table is in tests/benchmarks."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.audio.pitch import Measured, NotMeasured, measure, pooled
from skeleton.errors import OptionError

SECOND_READER_TOLERANCE_CENTS = 0.5
WORST_STEADY_CENTS = 4.0
LOUD_DRONE_TOLERANCE_CENTS = 3.0


def off_cents(found, hz):
    return 1200 * math.log2(found.hz / hz)


def one(tones, midi, cents=0.0, *, seconds=0.5, seed=1, noise_db=None, **tone):
    hz = tones.from_midi(midi, cents)
    return hz, tones.mixed([tones.Tone(hz, 0.3, 0.3 + seconds, **tone)], seed, noise_db=noise_db)


def heard(tones, sound, expected_hz, seconds=0.5, **how):
    return measure(sound, tones.RATE, expected_hz, start_s=0.3, end_s=0.3 + seconds, **how)


@pytest.mark.parametrize("midi", [28, 36, 43, 48, 55, 62, 69, 76, 88, 100])
@pytest.mark.parametrize("cents", [-45.0, 0.0, 33.0])
def test_every_register_from_the_bass_to_the_end_of_the_fingerboard(tones, midi, cents) -> None:
    hz, sound = one(tones, midi, cents)
    found = heard(tones, sound, tones.from_midi(midi))
    assert isinstance(found, Measured)
    assert abs(off_cents(found, hz)) < WORST_STEADY_CENTS
    assert found.cents == pytest.approx(off_cents(found, tones.from_midi(midi)), abs=1e-6)
    assert found.vibrato is None
    assert 0.3 < found.from_s < found.to_s < 0.8


@pytest.mark.parametrize("midi", [55, 62, 69, 76, 83, 91])
def test_praat_hears_the_same(tones, praat_hz, midi) -> None:
    """Second reader: Praat's autocorrelation (Boersma 1993), on the same part of a clean tone."""
    _, sound = one(tones, midi, 17.0, seconds=1.0, noise_db=-50.0)
    found = heard(tones, sound, tones.from_midi(midi), seconds=1.0)
    stretch = sound[round(found.from_s * tones.RATE) : round(found.to_s * tones.RATE)]
    theirs = praat_hz(stretch.astype(np.float64), tones.RATE, found.hz)
    assert abs(off_cents(found, theirs)) < SECOND_READER_TOLERANCE_CENTS


@pytest.mark.parametrize(
    ("midi", "played", "reason"),
    [
        (62, 2.0, {"octave-above"}),
        (76, 2.0, {"octave-above"}),
        (74, 0.5, {"octave-below"}),
        (88, 0.5, {"octave-below"}),
        (69, 2.0 ** (1 / 12), {"elsewhere", "nothing"}),
        (69, 2.0 ** (-2 / 12), {"elsewhere", "nothing"}),
        (69, 3.0, {"nothing"}),
    ],
)
def test_another_note_is_not_taken_for_this_one(tones, midi, played, reason) -> None:
    for seed in range(8):
        sound = tones.mixed([tones.Tone(tones.from_midi(midi) * played, 0.3, 0.8)], seed)
        found = heard(tones, sound, tones.from_midi(midi))
        assert isinstance(found, NotMeasured), seed
        assert found.reason in reason


@pytest.mark.parametrize("midi", [55, 67, 79, 91])
def test_noise_and_silence_hold_no_note(tones, midi) -> None:
    rng = np.random.default_rng(midi)
    white = rng.normal(size=tones.RATE)
    spectrum = np.fft.rfft(white)
    pink = np.fft.irfft(spectrum / np.sqrt(np.arange(len(spectrum)) + 1.0))
    for sound in (white, pink, np.zeros(tones.RATE)):
        scaled = (0.03 * sound / max(sound.std(), 1e-9)).astype(np.float32)
        assert heard(tones, scaled, tones.from_midi(midi)) == NotMeasured(
            "nothing", pytest.approx(-30.5 if sound.any() else -120.0, abs=1.5)
        )


def test_too_short_is_said(tones) -> None:
    hz, sound = one(tones, 69)
    assert heard(tones, sound, hz, seconds=0.02).reason == "too-short"
    assert measure(sound, tones.RATE, hz, start_s=5.0).reason == "too-short"


@pytest.mark.parametrize("hz", [0.0, -3.0, math.nan, 9000.0])
def test_what_is_no_frequency_is_refused(tones, hz) -> None:
    with pytest.raises(OptionError, match="cannot be measured"):
        measure(np.zeros(4000, np.float32), tones.RATE, hz)


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("below", [5, 7, 13, 24])
def test_a_drone_behind_the_note_does_not_pull_it(tones, below, known) -> None:
    for midi in (67, 76, 86):
        hz, sound = one(tones, midi, 21.0, seed=midi)
        drone_hz = tones.from_midi(midi - below)
        drone = tones.mixed([tones.Tone(drone_hz, 0.0, 0.9)], 7, end_s=len(sound) / tones.RATE)
        both = sound + 0.316 * drone[: len(sound)]  # -10 dB
        found = heard(tones, both, tones.from_midi(midi), also_hz=[drone_hz] if known else [])
        assert isinstance(found, Measured)
        assert abs(off_cents(found, hz)) < LOUD_DRONE_TOLERANCE_CENTS


def test_with_a_drone_an_octave_below_the_note_is_measured_if_that_is_known(tones) -> None:
    midi, refused = 79, 0
    for seed in range(12):
        hz, sound = one(tones, midi, 15.0, seed=seed)
        drone_hz = tones.from_midi(midi - 12)
        drone = tones.mixed([tones.Tone(drone_hz, 0.0, 0.9)], 50 + seed, end_s=1.0)
        both = sound + 0.5 * drone[: len(sound)]  # -6 dB
        refused += isinstance(heard(tones, both, tones.from_midi(midi)), NotMeasured)
        found = heard(tones, both, tones.from_midi(midi), also_hz=[drone_hz])
        assert isinstance(found, Measured)
        # Drone and note cover each other's partials; the result says that it is not to be judged.
        assert found.ringing
        assert abs(off_cents(found, hz)) < 2 * found.se_cents
    # Unknown, it makes some of them look like notes an octave lower.
    assert refused >= 1


def test_a_ringing_neighbour_is_left_aside(tones) -> None:
    """Chromatic tenths of a second in a hall of 1.5 s, where a narrow band alone locks on."""
    errors = []
    for seed in range(20):
        midi = 62 + seed
        before, hz = tones.from_midi(midi - 1), tones.from_midi(midi, 12.0)
        line = [tones.Tone(before, 0.2, 0.3), tones.Tone(hz, 0.3, 0.4)]
        sound = tones.room(tones.mixed(line, seed), 1.5, seed)
        found = heard(tones, sound, tones.from_midi(midi), seconds=0.1, also_hz=[before])
        assert isinstance(found, Measured)
        errors.append(abs(off_cents(found, hz)))
    assert np.quantile(errors, 0.95) < 5.0


def test_vibrato_is_averaged_over_its_cycles_and_described(tones) -> None:
    for seed in range(12):
        hz, sound = one(
            tones, 64 + seed, -8.0, seconds=0.8, seed=seed, vibrato_hz=5.7, vibrato_cents=24.0
        )
        found = heard(tones, sound, tones.from_midi(64 + seed), seconds=0.8)
        assert abs(off_cents(found, hz)) < 3.0
        assert found.vibrato.rate_hz == pytest.approx(5.7, abs=0.4)
        assert found.vibrato.extent_cents == pytest.approx(24.0, abs=4.0)
        assert found.vibrato.cycles == pytest.approx(5.7 * (found.to_s - found.from_s), rel=0.25)


def test_less_than_a_cycle_has_no_defined_centre_and_says_so(tones) -> None:
    unsure = [
        heard(tones, sound, tones.from_midi(70), seconds=0.2).se_cents
        for sound in (
            one(tones, 70, seconds=0.2, seed=seed, vibrato_hz=5.0, vibrato_cents=25.0)[1]
            for seed in range(20)
        )
    ]
    assert sum(se >= 4.0 for se in unsure) >= 16
    _, steady = one(tones, 70, seconds=0.1)
    plain = heard(tones, steady, tones.from_midi(70), seconds=0.1)
    warned = heard(tones, steady, tones.from_midi(70), seconds=0.1, usual_vibrato_cents=20.0)
    assert plain.se_cents < 2.0
    assert warned.se_cents >= 12.0


def test_the_uncertainty_covers_the_truth(tones) -> None:
    """A fixed small sample; two standard errors should hold 93 to 98 of 100."""
    covered = count = 0
    for seed in range(140):
        rng = np.random.default_rng([3, seed])
        midi, seconds = int(rng.integers(55, 100)), float(rng.uniform(0.08, 0.6))
        hz, sound = one(tones, midi, rng.uniform(-40, 40), seconds=seconds, seed=seed)
        found = heard(tones, sound, tones.from_midi(midi), seconds=seconds)
        assert isinstance(found, Measured)
        covered += abs(off_cents(found, hz)) < 2 * found.se_cents
        count += 1
    # 95 % of 140 with its own standard deviation of 2.6: two of those to either side.
    assert 128 <= covered <= 138
    assert count == 140


def test_more_noise_means_more_uncertainty(tones) -> None:
    _, clean = one(tones, 69, seconds=0.15, noise_db=-50.0)
    _, rough = one(tones, 69, seconds=0.15, noise_db=-8.0)
    se = [heard(tones, sound, 440.0, seconds=0.15).se_cents for sound in (clean, rough)]
    assert se[1] > se[0]


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 0.5), st.floats(0.0, 0.6), st.floats(25.0, 6000.0))
def test_any_stretch_of_any_sound_gives_an_answer(tones, start, length, hz) -> None:
    sound = np.random.default_rng(4).normal(0, 0.1, tones.RATE // 2).astype(np.float32)
    found = measure(sound, tones.RATE, hz, start_s=start, end_s=start + length)
    assert isinstance(found, NotMeasured) or math.isfinite(found.se_cents)


# --- pooling


def test_pooling_two_equal_errors_is_the_mean() -> None:
    assert pooled([(1.0, 2.0), (3.0, 2.0)]) == pytest.approx((2.0, math.sqrt(2.0)))
    assert pooled([(1.0, 0.5)]) == pytest.approx((1.0, 0.5))


def test_pooling_weighs_by_the_inverse_square() -> None:
    """Weights 4 and 1: (4 * 0 + 1 * 1) / 5, and 1 / sqrt(5) (any handbook of measurement)."""
    value, error = pooled([(0.0, 0.5), (1.0, 1.0)])
    assert value == pytest.approx(0.2)
    assert error == pytest.approx(1 / math.sqrt(5))


def test_one_that_stands_apart_hardly_moves_the_pool() -> None:
    value, error = pooled([(0.1, 0.3), (-0.1, 0.3), (0.0, 0.3), (30.0, 0.3)])
    assert abs(value) < 0.4
    assert error > 0.3 / math.sqrt(4)


def test_pooling_nothing_is_refused() -> None:
    with pytest.raises(OptionError, match="pool"):
        pooled([])


@given(
    st.lists(st.tuples(st.floats(-50, 50), st.floats(0.05, 10)), min_size=1, max_size=8),
    st.floats(-20, 20),
)
def test_the_pool_lies_among_its_members_and_moves_with_them(values, shift) -> None:
    value, error = pooled(values)
    numbers = [one for one, _ in values]
    assert min(numbers) - 1e-9 <= value <= max(numbers) + 1e-9
    assert error > 0
    moved, same = pooled([(one + shift, se) for one, se in values])
    assert moved == pytest.approx(value + shift, abs=1e-6)
    assert same == pytest.approx(error, rel=1e-6, abs=1e-9)
