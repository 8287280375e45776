from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.listening.verdict import verdict


@pytest.mark.parametrize(
    ("deviation", "u", "said"),
    [
        (0.0, 1.0, "in tune"),
        (4.0, 1.0, "in tune"),
        (4.1, 1.0, "cannot tell"),
        (-6.0, 1.0, "cannot tell"),
        (6.1, 1.0, "sharp"),
        (-6.1, 1.0, "flat"),
        (0.0, 5.1, "cannot tell"),
        (100.0, math.inf, "cannot tell"),
    ],
)
def test_with_a_tolerance_of_five_cents(deviation, u, said) -> None:
    assert verdict(deviation, u, 5.0) == said


@given(st.floats(-100, 100), st.floats(0, 50), st.floats(0.1, 50))
def test_both_directions_alike_and_less_certainty_never_turns_a_verdict(d, u, tolerance) -> None:
    swapped = {"sharp": "flat", "flat": "sharp"}
    said = verdict(d, u, tolerance)
    assert verdict(-d, u, tolerance) == swapped.get(said, said)
    assert verdict(d, u + 1.0, tolerance) in (said, "cannot tell")
