from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.audio.vibrato import centre

STEP_S = 0.006
MEMORY_S = 0.1


def curve(seconds, level=0.0, *, rate=0.0, extent=0.0, phase=0.0, slope=0.0):
    time = np.arange(round(seconds / STEP_S)) * STEP_S
    middle = time - time.mean()
    return time, level + slope * middle + extent * np.sin(2 * np.pi * rate * time + phase)


def found(time, cents, weight=None):
    return centre(time, cents, np.ones_like(time) if weight is None else weight, MEMORY_S)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.35, 1.5), st.floats(-40, 40), st.floats(4.5, 8.0), st.floats(8, 40),
    st.floats(0, 6.28),
)  # fmt: skip
def test_the_centre_of_a_clean_vibrato_is_its_level(seconds, level, rate, extent, phase) -> None:
    result = found(*curve(seconds, level, rate=rate, extent=extent, phase=phase))
    assert result.cents == pytest.approx(level, abs=0.02 * extent)
    assert result.vibrato.rate_hz == pytest.approx(rate, abs=0.3)
    assert result.vibrato.extent_cents == pytest.approx(extent, rel=0.1)


def test_the_plain_mean_and_the_median_would_be_wrong_here() -> None:
    time, cents = curve(0.45, rate=5.5, extent=30.0, phase=0.4)
    assert abs(cents.mean()) > 2.0
    assert abs(np.median(cents)) > 2.0
    assert abs(found(time, cents).cents) < 0.3


@pytest.mark.parametrize("scatter", [0.3, 1.0, 2.0])
def test_an_unsteady_bow_is_no_vibrato(scatter) -> None:
    seen = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        time, cents = curve(0.5)
        rough = np.convolve(rng.normal(size=len(time) + 8), np.ones(9) / 3, mode="valid")
        seen += found(time, cents + scatter * rough).vibrato is not None
    assert seen == 0


def test_a_slide_is_no_vibrato() -> None:
    result = found(*curve(0.5, slope=60.0))
    assert result.vibrato is None
    assert result.cents == pytest.approx(0.0, abs=0.5)


def test_a_few_wild_values_do_not_count() -> None:
    time, cents = curve(0.4, 5.0)
    cents[3] = 300.0
    cents[20] = -250.0
    assert found(time, cents).cents == pytest.approx(5.0, abs=0.2)


def test_values_of_no_weight_do_not_count() -> None:
    time, cents = curve(0.4, 5.0)
    weight = np.ones_like(time)
    cents[:30], weight[:30] = 40.0, 0.0
    assert found(time, cents, weight).cents == pytest.approx(5.0, abs=1e-6)


def test_a_longer_note_is_known_better() -> None:
    short, long = (found(*curve(seconds, 2.0)).leverage for seconds in (0.06, 0.6))
    # About one independent value more for every tenth of a second that a value is remembered.
    assert short == pytest.approx(1 / 1.6, rel=0.1)
    assert long == pytest.approx(1 / 7.0, rel=0.1)
    assert found(*curve(0.006, 2.0)).leverage == 1.0


@pytest.mark.parametrize("seconds", [0.15, 0.2, 0.35, 0.8, 1.6])
@pytest.mark.parametrize("seed", range(5))
def test_no_other_rate_fits_better_by_least_squares(seconds, seed) -> None:
    """Against numpy's least squares, rate by rate; some values are left out."""
    rng = np.random.default_rng(seed)
    time, cents = curve(seconds, 3.0, rate=rng.uniform(4.5, 7.5), extent=25.0, slope=10.0)
    cents = cents + rng.normal(0.0, 1.0, len(time))
    weight = rng.uniform(0.2, 1.0, len(time)) * (rng.random(len(time)) > 0.1)
    result = found(time, cents, weight)
    kept = time[weight > 0]
    span = kept[-1] - kept[0] + STEP_S
    middle = time - 0.5 * (kept[0] + kept[-1])
    fits = []
    for rate in np.arange(max(3.5, 0.55 / span), 9.0, 0.1):
        columns = [np.ones_like(time), np.cos(2 * np.pi * rate * middle),
                   np.sin(2 * np.pi * rate * middle), middle]  # fmt: skip
        design = np.stack(columns[: 4 if rate * span > 1.5 else 3], axis=1)
        root = np.sqrt(weight)
        solution, *_ = np.linalg.lstsq(design * root[:, None], cents * root, rcond=None)
        error = float(((design @ solution - cents) ** 2 * root**2).sum())
        fits.append((error, rate, solution[0], np.hypot(solution[1], solution[2])))
    _, rate, level, extent = min(fits)
    assert result.vibrato.rate_hz == pytest.approx(rate, abs=1e-9)
    assert result.cents == pytest.approx(level, abs=1e-6)
    assert result.vibrato.extent_cents == pytest.approx(extent, abs=1e-6)
