"""Which string serves as drone, and what is promised of it."""

from __future__ import annotations

import pytest

from skeleton.intonation.cautions import DRONES, HEARING, UNDER_CHECKLISTS, UNDER_TARGETS
from skeleton.intonation.drones import choose_drone
from skeleton.intonation.targets import targets
from skeleton.theory.instrument import INSTRUMENTS
from skeleton.theory.pitch import parse_pitch


def choice(notes: str, instrument: str = "violin"):
    return choose_drone(INSTRUMENTS[instrument], [parse_pitch(one) for one in notes.split()])


@pytest.mark.parametrize(
    ("notes", "strings", "served"),
    [
        ("D4 A4 G4 D5", "D4", 4),
        ("G4 C5 C4 D5 G5", "G3", 5),
        ("B4 B5 E5 A4", "E5", 4),
        ("D4 A4 D5 A5", "D4 A4", 4),
        ("G4 D5 F4", "G3 D4", 2),
        ("A4 A5 A4", "A4", 3),
        ("D4 F4 F5 Bb4", "D4", 1),
    ],
)
def test_the_string_that_serves_most_notes(notes, strings, served) -> None:
    found = choice(notes)
    assert " ".join(map(str, found.strings)) == strings
    assert (found.served, found.notes) == (served, len(notes.split()))


def test_why_is_a_sentence_with_figures() -> None:
    assert choice("D4 A4 G4 D5").why == "4 of 4 skeleton notes are pure against it (2 D, 1 A, 1 G)"
    assert "against both" in choice("D4 A4").why


def test_no_string_serves_flats() -> None:
    found = choice("Eb4 Ab4 Db5")
    assert (found.strings, found.served) == ((), 0)
    assert "no open string" in found.why
    assert choice("").strings == ()


def test_other_instruments() -> None:
    assert [str(one) for one in choice("C3 G3 C4", "viola").strings] == ["C3", "G3"]
    assert [str(one) for one in choice("E2 A2", "double bass").strings] == ["E1", "A1"]


def test_a_passage_has_its_drone_from_structural_notes_only(etude) -> None:
    # F sharp and C sharp are accidentals, not skeleton; they do not vote.
    (passage,) = targets(etude("F#4 D5 C#5 D4 G#4 D5")).passages
    assert [str(one) for one in passage.drone.strings] == ["D4"]
    assert (passage.drone.served, passage.drone.notes) == (3, 3)


def test_cautions_have_sources_and_promise_nothing() -> None:
    assert set(UNDER_CHECKLISTS) < set(UNDER_TARGETS)
    for caution in UNDER_TARGETS:
        assert caution.source
        assert "\n" not in caution.text
    assert "80 dB" in HEARING.text
    assert "75 dB" in HEARING.text
    assert "Practise against" in DRONES.text
    assert "not found" in DRONES.text
    assert "improve" not in " ".join(one.text for one in UNDER_TARGETS)
