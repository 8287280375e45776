"""Which open strings answer: published arithmetic, a brute-force sum, and what must hold."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.intonation.listen_for import listen_for
from skeleton.intonation.ring import (
    WEAKEST_DB,
    answers,
    half_power_cents,
    rings,
    strength_db,
    usual_string,
)
from skeleton.intonation.targets import targets
from skeleton.theory.instrument import INSTRUMENTS
from skeleton.theory.pitch import make_pitch, parse_pitch
from skeleton.theory.strings import pure
from skeleton.theory.tuning import pythagorean_hz

VIOLIN = INSTRUMENTS["violin"]
TUNING = pure(VIOLIN)
ROUNDING_DB = 0.051


def of(name: str, **options):
    pitch = parse_pitch(name)
    return answers(TUNING, pitch, pythagorean_hz(pitch), **options)


def test_answers_are_those_of_the_table(table) -> None:
    for row in table("ring_answers.tsv", 23):
        words = row["answers"].split()
        expected = dict(zip(words[::2], map(float, words[1::2]), strict=True))
        found = {
            str(one.string): one.strength_db
            for one in of(row["pitch"], stopped=parse_pitch(row["stopped"]))
        }
        assert found == pytest.approx(expected, abs=ROUNDING_DB), row
        assert list(found) == list(expected)


def test_strength_of_pure_ratios_is_that_of_the_table(table) -> None:
    for row in table("ring_ratios.tsv", 16):
        found = strength_db(Fraction(row["ratio"]), 0.0)
        assert found == pytest.approx(float(row["db"]), abs=0.00051)


def test_width_of_the_answer() -> None:
    # 1200 log2(1 + 1/2Q), the half width of a resonance at half power (arithmetic).
    widths = {50: 17.226, 100: 8.635, 200: 4.323, 300: 2.883, 500: 1.730, 1000: 0.865}
    for quality, width in widths.items():
        assert half_power_cents(quality) == pytest.approx(width, abs=0.00051)
        weaker = strength_db(Fraction(1), half_power_cents(quality), quality)
        assert weaker == pytest.approx(10 * math.log10(0.5), abs=1e-9)


def brute_force(ratio: float, quality: float) -> float:
    """Sum the answer over 200 partials of an ideal bowed string driving a lossy one."""
    total = 0.0
    for partial in range(1, 201):
        angle = math.pi * partial * ratio
        loss = angle / (2 * quality)
        # |sin(a - ib)|^2 = sin(a)^2 + sinh(b)^2
        total += 1 / partial**2 / (math.sin(angle) ** 2 + math.sinh(loss) ** 2)
    return total


@pytest.mark.parametrize(
    ("ratio", "tolerance_db"),
    [
        *((Fraction(*pair), 0.03) for pair in ((2, 1), (1, 2), (3, 1), (3, 2), (2, 3), (5, 2))),
        *((Fraction(*pair), 0.4) for pair in ((4, 3), (3, 4), (5, 3), (5, 4), (4, 5))),
    ],
)
def test_the_formula_agrees_with_a_sum_over_partials(ratio, tolerance_db) -> None:
    summed = 10 * math.log10(brute_force(float(ratio), 200) / brute_force(1.0, 200))
    assert strength_db(ratio, 0, 200) == pytest.approx(summed, abs=tolerance_db)


@pytest.mark.parametrize("off_cents", [1.0, 3.0, 8.0, 20.0, -8.0])
def test_so_does_its_fading(off_cents) -> None:
    pure_sum = brute_force(1.0, 200)
    summed = 10 * math.log10(brute_force(2 ** (off_cents / 1200), 200) / pure_sum)
    assert strength_db(Fraction(1), off_cents, 200) == pytest.approx(summed, abs=0.05)


def test_partials_that_meet() -> None:
    # A 440 and E 330 meet at 1320 Hz: the third partial of A, the fourth of E
    # (handwiki.org/wiki/Physics:String_resonance).
    (answer,) = [one for one in of("A4", stopped=parse_pitch("D4")) if one.string.step == "E"]
    assert answer.ratio == Fraction(2, 3)
    assert 440 * answer.ratio.denominator == pytest.approx(660 * answer.ratio.numerator)


@given(st.sampled_from("CDEFGAB"), st.integers(-1, 1), st.integers(3, 7), st.floats(-40, 40))
def test_the_stopped_string_never_answers_and_order_is_strength(step, alter, octave, off) -> None:
    pitch = make_pitch(step, alter, octave)
    hz = pythagorean_hz(pitch) * 2 ** (off / 1200)
    for stopped in VIOLIN.open_strings:
        found = answers(TUNING, pitch, hz, stopped=stopped)
        assert stopped not in [one.string for one in found]
        strengths = [one.strength_db for one in found]
        assert strengths == sorted(strengths, reverse=True)
        assert all(WEAKEST_DB <= one <= 0 for one in strengths)


def test_a_note_is_stopped_below_the_string_it_is_named_after() -> None:
    expected = {"G3": "G3", "A3": "G3", "D4": "G3", "A4": "D4", "E5": "A4", "F5": "E5", "E7": "E5"}
    for name, string in expected.items():
        assert str(usual_string(VIOLIN, parse_pitch(name))) == string


def test_names_of_open_strings_ring_and_no_other_note() -> None:
    for midi_octave in range(3, 8):
        for step in "CDEFGAB":
            for alter in (-1, 0, 1):
                pitch = make_pitch(step, alter, midi_octave)
                if not parse_pitch("A3").midi <= pitch.midi <= parse_pitch("E7").midi:
                    continue
                # Three flats lie 2 cents (a schisma) from five times an open string.
                near = str(pitch) in ("Cb6", "Gb6", "Db7")
                named = pitch.pitch_class in VIOLIN.open_classes
                found = rings(answers(TUNING, pitch, pythagorean_hz(pitch)))
                assert found is (named or near), pitch


def test_what_to_listen_for_in_an_etude(etude) -> None:
    found = listen_for(targets(etude("F#4 G4 C#5 D5 F#4 G4")))
    assert [(str(note.pitch), note.times) for note in found] == [("G4", 2), ("D5", 1)]
    assert [str(one.string) for one in found[1].answers] == ["D4", "G3"]


def test_a_note_a_comma_off_does_not_ring() -> None:
    pitch = parse_pitch("G4")
    assert rings(answers(TUNING, pitch, pythagorean_hz(pitch)))
    assert not rings(answers(TUNING, pitch, pythagorean_hz(pitch) * 80 / 81))
