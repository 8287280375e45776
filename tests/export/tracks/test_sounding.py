"""Frequencies of notes that have a target, of those that have none, and of drones."""

from __future__ import annotations

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, LessonPassage
from skeleton.errors import OptionError
from skeleton.export.tracks.sounding import (
    chosen_drone,
    named_drone,
    note_hz,
    pitch_hz,
    reference_of,
    strings_reference,
)
from skeleton.intonation.targets import targets
from skeleton.score.reading import read_bytes
from skeleton.theory.instrument import INSTRUMENTS
from skeleton.theory.pitch import parse_pitch


def found_for(pitches, *, name="Violin", transpose="", **asked):
    """Targets of quarters in one bar of their own each; every second note ends a slur."""
    measures = ""
    for place, text in enumerate(pitches):
        pitch = parse_pitch(text)
        first = (
            f"<attributes><divisions>1</divisions><time><beats>2</beats><beat-type>4</beat-type>"
            f"</time>{transpose}</attributes>"
            if place == 0
            else ""
        )
        start = "</measure>" if place and place % 2 == 0 else ""
        opened = f'<measure number="{place // 2 + 1}">' if place % 2 == 0 else ""
        measures += (
            f'{start}{opened}{first}<note id="n{place}"><pitch><step>{pitch.step}</step>'
            f"<alter>{float(pitch.alter)}</alter><octave>{pitch.octave}</octave></pitch>"
            "<duration>1</duration><voice>1</voice><notations>"
            f'<slur type="{"stop" if place % 2 else "start"}"/></notations></note>'
        )
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>'
        f'{name}</part-name></score-part></part-list><part id="P1">{measures}</measure></part>'
        "</score-partwise>"
    )
    last = str((len(pitches) + 1) // 2)
    lesson = Lesson(passages=(LessonPassage("A", ("1", last)),))
    return targets(analyse(read_bytes(text.encode(), "etude.musicxml"), lesson), **asked)


def test_a_note_without_a_target_stands_where_the_system_has_it():
    # C5 and B4 begin their slurs: neither skeleton nor accidental nor named like a string.
    found = found_for(["C5", "D5", "B4", "A4"])
    heard = note_hz(found, ["n0", "n1", "n2", "n3"])
    # 440 * 32/27, 4/3, 9/8: the chain of pure fifths.
    assert heard == pytest.approx({"n0": 521.4815, "n1": 586.6667, "n2": 495.0, "n3": 440.0})
    heard = note_hz(found_for(["C5", "D5", "B4", "A4"], system="equal"), ["n0", "n2"])
    assert heard == pytest.approx({"n0": 523.2511, "n2": 493.8833})


def test_only_the_notes_asked_for_are_given():
    assert set(note_hz(found_for(["C5", "D5"]), ["n1"])) == {"n1"}


def test_a_double_bass_sounds_an_octave_below_its_page():
    octave = "<transpose><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>"
    found = found_for(["F#3", "G3", "B2", "A2"], name="Double bass", transpose=octave)
    heard = note_hz(found, ["n0", "n1", "n2", "n3"])
    # Written A2 is the open A1 of 55 Hz; G2 two fourths above it, F sharp a limma under that.
    assert heard == pytest.approx(
        {"n0": 92.8125, "n1": 97.7778, "n2": 61.875, "n3": 55.0}, rel=1e-6
    )
    strings, _ = chosen_drone(found, found.analysis.passages[0])
    assert all(string in INSTRUMENTS["double bass"].open_strings for string in strings)


def test_quarter_tones_are_played():
    heard = note_hz(found_for(["C(+1/2)5", "D5"]), ["n0"])
    assert 521.4815 < heard["n0"] < 556.875


def test_the_drone_serves_the_skeleton():
    found = found_for(["C#5", "D5", "F#4", "G4", "C#4", "D4"])
    strings, why = chosen_drone(found, found.analysis.passages[0])
    assert parse_pitch("D4") in strings
    assert "3 of 3" in why


def test_drones_are_named_by_pitch_or_string():
    reference = reference_of(found_for(["C5", "D5"]))
    assert named_drone(reference, ["D4", "A", "D4"]) == (parse_pitch("D4"), parse_pitch("A4"))
    with pytest.raises(OptionError, match="no open C on the violin"):
        named_drone(reference, ["C"])


def test_a_pitch_named_like_a_string_follows_it():
    reference = strings_reference(
        None, None, a4_hz=None, strings_hz=[196.0, 294.0, 441.0, 661.0], system="pythagorean"
    )
    assert pitch_hz(reference, parse_pitch("D6")) == 4 * 294.0
    assert pitch_hz(reference, parse_pitch("B4")) == pytest.approx(441.0 * 9 / 8)


def test_strings_are_tuned_as_asked():
    def heard(name, **asked):
        given = {"a4_hz": None, "strings_hz": None, "system": "pythagorean"} | asked
        return pitch_hz(strings_reference(None, None, **given), parse_pitch(name))

    assert heard("D4") == pytest.approx(293.33333)
    assert heard("D4", a4_hz=442.0) == pytest.approx(294.66667)
    assert heard("D4", system="equal") == pytest.approx(293.66477)
