"""The languages of a handout: complete, and with the note names of the trade."""

from __future__ import annotations

import re
from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.errors import OptionError
from skeleton.export.engraving.typeface import missing_characters
from skeleton.export.handout.words import LANGUAGES, words
from skeleton.export.lists.words import RULES
from skeleton.intonation.cautions import UNDER_TARGETS
from skeleton.theory.instrument import INSTRUMENTS
from skeleton.theory.interval import Interval, interval_named
from skeleton.theory.pitch import PitchClass, parse_pitch, parse_pitch_class

ENGLISH = words("en")
OTHERS = [code for code in LANGUAGES if code != "en"]


def texts(code: str) -> dict[str, list[str]]:
    found = {}
    for field in fields(words(code).phrases):
        value = getattr(words(code).phrases, field.name)
        held = value.values() if hasattr(value, "values") else value
        found[field.name] = [held] if isinstance(held, str) else list(held)
    return found


@pytest.mark.parametrize("code", OTHERS)
def test_every_text_is_there_with_the_same_blanks_and_is_not_english(code: str) -> None:
    own, english = texts(code), texts("en")
    same = {"name_line", "by", "tempo_head", "cents_from", "check", "footer"}
    for name, lines in english.items():
        assert len(own[name]) == len(lines), name
        for said, line in zip(own[name], lines, strict=True):
            assert sorted(re.findall(r"\{\w+\}", said)) == sorted(re.findall(r"\{\w+\}", line)), (
                name
            )
            assert said.strip()
            assert name in same or said != line, name


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_rule_instrument_and_caution_has_words(code: str) -> None:
    spoken = words(code)
    assert spoken.rules.keys() == RULES.keys()
    assert set(spoken.cautions) == set(UNDER_TARGETS)
    if code != "en":
        assert set(INSTRUMENTS) <= spoken.instruments.keys()


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_packages_font_can_draw_every_text(code: str) -> None:
    spoken = words(code)
    said = "".join(line for lines in texts(code).values() for line in lines)
    said += "".join(spoken.cautions.values())
    said += spoken.pitch(parse_pitch("Bb5")) + spoken.pitch(parse_pitch("F##1"))
    assert missing_characters(said) == frozenset()


# German names from memory of any primer of music theory in German: -is for a sharp, -es for a
# flat, vowels contracted (As, Es), H and B for B and B flat.
@pytest.mark.parametrize(
    ("name", "german"),
    [
        ("B", "H"), ("Bb", "B"), ("B#", "His"), ("Bbb", "Heses"), ("F#", "Fis"), ("C##", "Cisis"),
        ("Eb", "Es"), ("Ab", "As"), ("Ebb", "Eses"), ("Abb", "Ases"), ("Gb", "Ges"),
        ("Dbb", "Deses"), ("G", "G"), ("E#", "Eis"),
    ],
)  # fmt: skip
def test_german_names(name: str, german: str) -> None:
    assert words("de").name(parse_pitch_class(name)) == german


@pytest.mark.parametrize(
    ("pitch", "german"),
    [
        ("C4", "c′"), ("A4", "a′"), ("G3", "g"), ("E5", "e′′"), ("C2", "C"), ("Bb3", "b"),
        ("F#6", "fis′′′"), ("E1", "′E"),
    ],
)  # fmt: skip
def test_german_octaves(pitch: str, german: str) -> None:
    # Open strings of the violin g d' a' e'', of the cello C G d a (any primer).
    assert words("de").pitch(parse_pitch(pitch)) == german


@pytest.mark.parametrize(
    ("interval", "english", "german"),
    [
        ("m2", "half step", "Halbton"),
        ("A1", "chromatic half step", "chromatischer Halbton"),
        ("M2", "whole step", "Ganzton"),
        ("m3", "minor third", "kleine Terz"),
        ("P5", "perfect fifth", "reine Quinte"),
        ("A4", "augmented fourth", "übermäßige Quarte"),
        ("dd5", "doubly diminished fifth", "doppelt verminderte Quinte"),
        ("P8", "octave", "Oktave"),
    ],
)
def test_intervals(interval: str, english: str, german: str) -> None:
    assert words("en").interval(interval_named(interval)) == english
    assert words("de").interval(interval_named(interval)) == german


@given(st.integers(-25, 25), st.integers(-40, 40))
def test_every_interval_has_words_in_every_language(steps: int, semitones: int) -> None:
    for code in LANGUAGES:
        assert words(code).step(Interval(steps, semitones), "X").count("X") == 1


@given(
    st.sampled_from("CDEFGAB"), st.integers(-4, 4), st.sampled_from("CDEFGAB"), st.integers(-4, 4)
)
def test_no_two_notes_share_a_german_name(first: str, one: int, second: str, other: int) -> None:
    name = words("de").name
    notes = PitchClass(first, one), PitchClass(second, other)
    assert (name(notes[0]) == name(notes[1])) == (notes[0] == notes[1])


def test_numbers() -> None:
    assert words("en").signed(-3.91) == "−3.9"
    assert words("de").signed(-3.91) == "−3,9"
    assert words("de").signed(0.01) == words("de").signed(-0.01) == "0,0"
    assert words("de").listed(["a", "b", "c"]) == "a, b und c"


def test_an_unknown_language_is_refused() -> None:
    with pytest.raises(OptionError, match="no language 'xx'; there are en, de"):
        words("xx")
