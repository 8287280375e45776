import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.errors import OptionError
from skeleton.theory.midi import midi_hz, nearest_midi
from skeleton.theory.pitch import parse_pitch

ROUNDING_HZ = 0.00051
"""Half a unit of the tables' last place, and a trifle for binary fractions."""


def test_midi_table(table):
    for row in table("midi_hz.tsv", 51):
        number, hz = int(row["number"]), float(row["hz"])
        assert parse_pitch(row["pitch"]).midi == number
        assert midi_hz(number) == pytest.approx(hz, abs=ROUNDING_HZ)
        found, cents = nearest_midi(midi_hz(number))
        assert found == number
        assert cents == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("number", "hz"),
    # Longer decimals as printed at w.allsup.co/music/midi/MidiPitches.
    [(60, 261.6255653), (61, 277.1826310), (68, 415.3046976), (70, 466.1637615)],
)
def test_longer_decimals(number, hz):
    assert midi_hz(number) == pytest.approx(hz, abs=6e-8)


def test_fractions_of_a_number_are_microtones():
    assert midi_hz(Fraction(139, 2)) == pytest.approx(440 * 2 ** (1 / 24), rel=1e-14)


def test_415_is_not_an_equal_half_step_below_440():
    # 415 is 1.271 cents under the equal G sharp of A4 = 440: 1200 log2(415/440) + 100.
    number, cents = nearest_midi(415.0)
    assert number == 68
    assert cents == pytest.approx(-1.271, abs=0.0006)


@given(st.floats(8.0, 20_000.0), st.floats(380.0, 470.0))
def test_number_and_cents_give_the_frequency_back(hz, a4_hz):
    number, cents = nearest_midi(hz, a4_hz)
    assert -50.0 <= cents < 50.0
    assert midi_hz(number, a4_hz) * 2 ** (cents / 1200) == pytest.approx(hz, rel=1e-12)


@pytest.mark.parametrize("hz", [0.0, -440.0, math.nan, math.inf])
def test_no_frequency_is_refused(hz):
    with pytest.raises(OptionError, match="is no frequency in Hz"):
        nearest_midi(hz)


@pytest.mark.parametrize("a4_hz", [0.0, -1.0, 44.0, 4400.0, math.nan, math.inf])
def test_impossible_a4_is_refused(a4_hz):
    with pytest.raises(OptionError, match="A4 cannot be"):
        midi_hz(69, a4_hz)
