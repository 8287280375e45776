from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.audio.partials import quantile

VALUES = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=60)


@given(VALUES, st.sampled_from([0.0, 0.3, 0.33, 0.5, 1.0]))
def test_a_quantile_is_numpys(values, share) -> None:
    found = float(quantile(np.array(values), share))
    assert found == pytest.approx(float(np.quantile(values, share)), rel=1e-12, abs=1e-9)


def test_quantiles_of_rows_are_taken_row_by_row_and_leave_them_as_they_are() -> None:
    rows = np.random.default_rng(0).normal(size=(7, 201))
    before = rows.copy()
    assert quantile(rows, 0.3) == pytest.approx(np.quantile(rows, 0.3, axis=1), rel=1e-12)
    assert np.array_equal(rows, before)
    assert quantile(rows[:0], 0.3).shape == (0,)
