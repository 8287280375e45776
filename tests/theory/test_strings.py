import math

import pytest

from skeleton.errors import OptionError
from skeleton.theory.instrument import INSTRUMENTS, custom, open_string_hz
from skeleton.theory.pitch import parse_pitch
from skeleton.theory.strings import StringTuning, equal, pure, strings_from_hz

VIOLIN = INSTRUMENTS["violin"]
ROUNDING_CENTS = 0.00051


@pytest.mark.parametrize("name", list(INSTRUMENTS))
@pytest.mark.parametrize("a4_hz", [415.0, 440.0, 442.0, 443.0])
def test_pure_strings_deviate_by_nothing(name, a4_hz):
    found = pure(INSTRUMENTS[name], a4_hz)
    assert found.a4_hz == pytest.approx(a4_hz, rel=1e-14)
    assert found.deviations_cents == pytest.approx([0.0] * 4, abs=1e-9)


def test_equal_strings_deviate_by_the_tempered_fifth():
    # Pure strings lie -3.910, -1.955, 0 and +1.955 from equal ones: k (701.955 - 700).
    found = equal(VIOLIN)
    assert found.deviations_cents == pytest.approx([3.910, 1.955, 0.0, -1.955], abs=ROUNDING_CENTS)
    # 12-tone equal temperament at A4 = 440 Hz, to three places.
    assert found.hz == pytest.approx([195.998, 293.665, 440.0, 659.255], abs=0.00051)


def test_a_note_matches_the_string_as_it_is_tuned():
    found = strings_from_hz(VIOLIN, [196.5, 293.0, 440.5, 661.0])
    assert found.origin == "measured"
    assert found.a4_hz == 440.5
    assert found.match_hz(parse_pitch("E4")) == 330.5
    assert found.match_hz(parse_pitch("G6")) == 1572.0
    assert found.match_hz(parse_pitch("D4")) == 293.0
    assert found.match_hz(parse_pitch("F#4")) is None
    assert found.match_hz(parse_pitch("Fx4")) is None


def test_a4_without_an_a_string_comes_from_the_nearest_one():
    strings = custom([parse_pitch(name) for name in ("F3", "C4", "G4", "D5")])
    assert pure(strings, 442.0).a4_hz == pytest.approx(442.0, rel=1e-14)
    # G4 is nearer to A4 than D5; a D string that is off does not touch it.
    hz = list(open_string_hz(strings, 442.0))
    hz[3] *= 1.01
    found = strings_from_hz(strings, hz)
    assert found.a4_hz == pytest.approx(442.0, rel=1e-14)
    assert found.deviations_cents[3] == pytest.approx(1200 * math.log2(1.01), abs=1e-9)


@pytest.mark.parametrize(
    ("hz", "match"),
    [
        ([440.0], "1 frequencies for 4 strings"),
        ([196.0, 293.0, 440.0, 660.0, 880.0], "5 frequencies for 4 strings"),
        ([660.0, 440.0, 293.0, 196.0], "660 Hz cannot be the open G3"),
        ([196.0, 293.0, 440.0, 0.0], "0 Hz cannot be the open E5"),
        ([196.0, 293.0, math.nan, 660.0], "nan Hz cannot be the open A4"),
        ([196.0, math.inf, 440.0, 660.0], "inf Hz cannot be the open D4"),
    ],
)
def test_frequencies_that_cannot_be_these_strings(hz, match):
    with pytest.raises(OptionError, match=match):
        strings_from_hz(VIOLIN, hz)


def test_historical_pitch_is_believed():
    low = strings_from_hz(VIOLIN, open_string_hz(VIOLIN, 392.0))
    assert isinstance(low, StringTuning)
    assert low.a4_hz == pytest.approx(392.0)
