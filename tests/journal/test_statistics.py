"""The tests of significance against scipy, and against a worked example."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from skeleton.journal.statistics import (
    EXACT_UP_TO,
    fisher_test,
    holm,
    sign_test,
    t_test,
    trend_test,
)


@given(st.integers(0, 3000), st.integers(0, 3000))
def test_signs(below: int, above: int) -> None:
    if below + above:
        expected = stats.binomtest(below, below + above).pvalue
        assert sign_test(below, above) == pytest.approx(expected, rel=1e-9, abs=1e-300)


def test_signs_by_hand() -> None:
    assert sign_test(0, 0) == 1
    assert sign_test(5, 0) == 2 / 32
    assert sign_test(1, 8) == 2 * (1 + 9) / 512


@given(st.lists(st.integers(-5000, 5000).map(lambda one: one / 100), min_size=2, max_size=200))
def test_means(values: list[float]) -> None:
    if len(set(values)) == 1:
        return
    expected = stats.ttest_1samp(values, 0).pvalue
    assert t_test(values, 1e-9) == pytest.approx(expected, rel=1e-8, abs=1e-300)


@given(st.integers(2, 3000), st.floats(1e-3, 1e3))
def test_the_tail_of_student(days: int, t: float) -> None:
    # Half of the days one deviation from the mean up, half down (and one more on the mean).
    around = [1.0, -1.0] * (days // 2) + [0.0] * (days % 2)
    deviation = (2 * (days // 2) / (days - 1)) ** 0.5
    values = [one + t * deviation / days**0.5 for one in around]
    assert t_test(values, 1e-9) == pytest.approx(2 * stats.t.sf(t, days - 1), rel=1e-6, abs=1e-300)


def test_means_that_cannot_be_asked() -> None:
    assert t_test([], 1.0) == t_test([5.0], 1.0) == 1.0
    assert t_test([3.0, -3.0], 1.0) == 1.0
    # All the same: as if they scattered by what is the least.
    assert t_test([2.0] * 9, 1.0) == pytest.approx(2 * stats.t.sf(6.0, 8))


@given(st.lists(st.floats(-50, 50), min_size=3, max_size=EXACT_UP_TO, unique=True))
def test_exact_trend(values: list[float]) -> None:
    expected = stats.kendalltau(range(len(values)), values, method="exact")
    tau, p = trend_test(values)
    assert tau == pytest.approx(expected.statistic, abs=1e-12)
    assert p == pytest.approx(expected.pvalue, abs=1e-12)


@given(st.lists(st.integers(0, 9), min_size=EXACT_UP_TO + 1, max_size=80))
def test_trend_with_ties(values: list[int]) -> None:
    tau, p = trend_test(values)
    if len(set(values)) == 1:
        assert (tau, p) == (0, 1)
        return
    expected = stats.kendalltau(range(len(values)), values, method="asymptotic")
    assert tau == pytest.approx(expected.statistic, abs=1e-12)
    assert p == pytest.approx(expected.pvalue, abs=1e-12)


@pytest.mark.parametrize("values", [[], [1.0], [2.0, 2.0]])
def test_no_trend_can_be_told(values: list[float]) -> None:
    assert trend_test(values) == (0, 1)


@given(st.integers(0, 40), st.integers(0, 200), st.data())
def test_fisher(of: int, other_of: int, data: st.DataObject) -> None:
    hits, other = data.draw(st.integers(0, of)), data.draw(st.integers(0, other_of))
    expected = stats.fisher_exact([[hits, of - hits], [other, other_of - other]])[1]
    assert fisher_test(hits, of, other, other_of) == pytest.approx(expected, abs=1e-9)


def test_holm_by_a_worked_example() -> None:
    # geeksforgeeks.org/data-science/holm-bonferroni-method: of p 0.01, 0.04, 0.03, 0.005 at the
    # level 0.05 the fourth and the first are rejected, the others are not.
    adjusted = holm([0.01, 0.04, 0.03, 0.005])
    assert [p <= 0.05 for p in adjusted] == [True, False, False, True]
    # Smallest p times four, next times three; then the larger of what comes and what came.
    assert adjusted == pytest.approx((0.03, 0.06, 0.06, 0.02))


@given(st.lists(st.floats(0, 1), max_size=30))
def test_holm_lies_between_p_and_all_that_were_looked_at(values: list[float]) -> None:
    for p, adjusted in zip(values, holm(values), strict=True):
        assert p <= adjusted <= min(1, p * len(values)) + 1e-12 or adjusted <= 1 == len(values) * p
        assert adjusted >= p
    ranked = sorted(zip(values, holm(values), strict=True))
    assert [a for _, a in ranked] == sorted(a for _, a in ranked)


@given(
    st.lists(
        st.tuples(st.floats(1e-6, 1), st.sampled_from([0.25, 0.5, 1.0, 3.0])),
        min_size=1,
        max_size=6,
    )
)
def test_holm_with_weights_is_the_closed_test(asked: list[tuple[float, float]]) -> None:
    """Marcus, Peritz, Gabriel 1976 (from memory): what every set that holds it rejects."""
    p_values, weights = zip(*asked, strict=True)
    adjusted = holm(p_values, weights)
    places = range(len(asked))
    sets = [set(one) for size in places for one in combinations(places, size + 1)]
    for place in places:
        # Of each set, Bonferroni's test in which each has its share.
        expected = max(
            min(p_values[one] * sum(weights[each] for each in held) / weights[one] for one in held)
            for held in sets
            if place in held
        )
        assert adjusted[place] == pytest.approx(min(1.0, expected))


def test_holm_without_anything() -> None:
    assert holm([]) == ()
    assert holm([], []) == ()
