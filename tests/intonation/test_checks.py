"""Double stops with open strings: where a note is pure, what a hand reaches, what disagrees."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from skeleton.intonation.checks import beats_hz, checks
from skeleton.intonation.reach import HALF_STEP_REACH, position
from skeleton.theory.instrument import INSTRUMENTS, Instrument
from skeleton.theory.pitch import make_pitch, parse_pitch
from skeleton.theory.strings import pure, strings_from_hz
from skeleton.theory.tables import SYNTONIC_COMMA
from skeleton.theory.tuning import cents, pythagorean_hz

ROUNDING_HZ = 0.00051
FLOAT_CENTS = 1e-6
VIOLIN = INSTRUMENTS["violin"]
COMMA_CENTS = cents(SYNTONIC_COMMA)


def of(name: str, instrument: Instrument = VIOLIN):
    pitch = parse_pitch(name)
    return checks(pure(instrument), pitch, pythagorean_hz(pitch))


def test_checks_are_those_of_the_table(table) -> None:
    rows = table("double_stops.tsv", 16)
    for name in {row["pitch"] for row in rows}:
        found = of(name)
        mine = {str(one.drone): one for one in found.checks}
        published = {row["drone"]: row for row in rows if row["pitch"] == name}
        assert mine.keys() == published.keys()
        for drone, row in published.items():
            assert mine[drone].ratio == Fraction(row["ratio"])
            assert mine[drone].hz == pytest.approx(float(row["hz"]), abs=ROUNDING_HZ)
            assert found.target_hz == pytest.approx(float(row["chain_hz"]), abs=ROUNDING_HZ)
            off = abs(mine[drone].off_target_cents)
            expected = 0 if row["hz"] == row["chain_hz"] else COMMA_CENTS
            assert off == pytest.approx(expected, abs=FLOAT_CENTS)


def test_the_one_conflict_among_the_open_names() -> None:
    found = of("E4")
    assert found.spread_cents == pytest.approx(COMMA_CENTS, abs=FLOAT_CENTS)
    assert found.advice == (
        "The perfect fourth below open A and the major sixth above open G differ by 21.5 cents: "
        "in a melody take the first, it agrees with the target; take the other only while open G "
        "sounds with it."
    )
    others = ("G3", "D4", "A4", "E5", "G4", "D5", "A5", "G5")
    for name in others:
        fixed_ones = [
            one for one in of(name).checks if one.interval.name in ("P1", "P4", "P5", "P8")
        ]
        assert all(one.agrees for one in fixed_ones)


def test_a_pure_third_against_the_target_is_told_once() -> None:
    found = of("F#4")
    assert [one.agrees for one in found.checks] == [False, False]
    assert found.spread_cents == 0
    assert "below the target" in found.advice
    assert "21.5" in found.advice
    assert of("A5").advice is None


def test_no_check_where_nothing_consonant_is_in_reach() -> None:
    # C4 stands a second from open D, and open G and A are no neighbours of the G string but D.
    assert of("C4").checks == ()
    assert of("C4").advice is None
    assert of("E7").checks == ()
    quarter = make_pitch("E", Fraction(1, 2), 4)
    assert checks(pure(VIOLIN), quarter, 335.0).checks == ()


def test_beats() -> None:
    # 3 * 330 - 5 * 195.556: the fixed E over open G as a sixth (arithmetic).
    off = cents(330 / (195.5555555556 * 5 / 3))
    assert beats_hz(325.9259259, Fraction(5, 3), off) == pytest.approx(12.222, abs=0.001)
    # Upper string an equal fifth above the lower one: 0.662, 0.993 and 1.490 Hz at A4 = 440 Hz.
    for lower_hz, rate in ((195.5555556, 0.662), (293.3333333, 0.993), (440.0, 1.490)):
        narrow = cents(2 ** (7 / 12) / 1.5)
        assert beats_hz(lower_hz * 1.5, Fraction(3, 2), narrow) == pytest.approx(rate, abs=0.001)
    (unison, *_) = [one for one in of("A4").checks if one.interval.name == "P1"]
    assert unison.beats_hz == pytest.approx(440 * (2 ** (5 / 1200) - 1))


def test_strings_as_measured_move_the_checks() -> None:
    tuning = strings_from_hz(VIOLIN, [195.0, 293.9, 440.5, 661.0])
    found = checks(tuning, parse_pitch("E4"), 330.5)
    assert [one.hz for one in found.checks] == pytest.approx([440.5 * 3 / 4, 195.0 * 5 / 3])


@pytest.mark.parametrize(
    ("instrument", "string", "note", "expected"),
    [
        # Hand frames: common practice, no source.
        ("violin", "G3", "G3", 0),
        ("violin", "G3", "G#3", 1),
        ("violin", "G3", "Ab3", 1),
        ("violin", "G3", "D4", 1),
        ("violin", "G3", "E4", 2),
        ("violin", "G3", "G4", 4),
        ("violin", "G3", "A4", 5),
        ("violin", "G3", "B4", None),
        ("violin", "D4", "C4", None),
        ("violin", "D4", "D3", None),
        ("violin", "E5", "Fb5", None),
        ("viola", "C3", "C4", 4),
        ("cello", "A3", "Bb3", 1),
        ("cello", "A3", "D4", 1),
        ("cello", "A3", "E4", 2),
        ("cello", "A3", "A4", 5),
        ("cello", "A3", "B4", None),
        ("double bass", "G2", "B2", 1),
        ("double bass", "G2", "F3", 5),
        ("double bass", "G2", "G3", None),
    ],
)
def test_reach(instrument: str, string: str, note: str, expected: int | None) -> None:
    found = position(INSTRUMENTS[instrument], parse_pitch(string), parse_pitch(note))
    assert found == expected


def test_half_step_rows_leave_no_gap_and_climb() -> None:
    for rows in HALF_STEP_REACH.values():
        assert len(rows) == 5
        assert rows[0][0] == 1
        for (low, high), (next_low, next_high) in pairwise(rows):
            assert low < next_low <= high + 1
            assert high < next_high


def test_every_check_can_be_played() -> None:
    seen = 0
    for instrument in INSTRUMENTS.values():
        strings = instrument.open_strings
        for step in "CDEFGAB":
            for octave in range(1, 7):
                pitch = make_pitch(step, 0, octave)
                found = checks(pure(instrument), pitch, pythagorean_hz(pitch))
                for one in found.checks:
                    seen += 1
                    assert abs(strings.index(one.drone) - strings.index(one.string)) == 1
                    assert 0 <= one.position <= 5
                    assert pitch.midi >= one.string.midi
                    assert one.beats_hz > 0
    assert seen > 100
