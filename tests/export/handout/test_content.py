"""What a handout says, checked against the analysis it was made from."""

from __future__ import annotations

import re

import pytest

import skeleton
from skeleton.analysis.lesson import Lesson
from skeleton.export.handout.content import handout_content
from skeleton.export.handout.words import words
from skeleton.intonation.cautions import UNDER_TARGETS
from skeleton.intonation.targets import targets


def content(case, code: str = "en"):
    found = targets(case.analysis)
    return handout_content(case.analysis, found, words(code), case.lesson)


def test_the_lesson_speaks_in_its_own_words(first_skeleton) -> None:
    said = content(first_skeleton)
    assert said.title == "Week three"
    assert said.assignment == ("The skeleton by heart.", "Then slowly as written.")
    assert said.plan.columns == ("Passage", "Measures", "Play", "Tempo", "Goal")
    assert said.plan.rows == (
        ("opening", "1 to 8", "bare skeleton", "56.5 beats a minute", "every D rings"),
        ("rest", "9 to 16", "", "", ""),
    )
    assert content(first_skeleton, "de").plan.rows[0][3] == "56,5 Schläge/min"


def test_without_a_lesson_there_are_steps_and_the_scores_own_title(first_skeleton) -> None:
    analysis = skeleton.analyse(first_skeleton.analysis.score)
    said = handout_content(analysis, targets(analysis), words("en"), Lesson())
    assert said.title == "First Skeleton"
    assert said.assignment == ()
    assert len(said.steps) == 5
    assert said.plan.columns == ("Passage", "Measures")


def test_strings_are_tuned_from_the_a_each_from_its_neighbour(first_skeleton) -> None:
    # Pure fifths: 442 * 2/3, 442 * 4/9, 442 * 3/2 Hz.
    (tuning,) = content(first_skeleton).tuning
    assert [re.sub(r".*open (\w\d) (?:from|against).*?([\d.]+) Hz", r"\1 \2", one)
            for one in tuning.steps] == ["A4 442", "D4 294.67", "G3 196.44", "E5 663"]  # fmt: skip


def test_every_accidental_stands_in_the_checklist_once(first_skeleton) -> None:
    said = content(first_skeleton)
    ids = [
        one for sheet in said.passages for part in sheet.parts for n in part.notes for one in n.ids
    ]
    assert sorted(ids) == sorted(n.place.id for n in first_skeleton.analysis.parts[0].accidentals)


def test_every_match_has_its_letter_pitches_and_measures(first_skeleton) -> None:
    part = first_skeleton.analysis.parts[0]
    said = {row.letter: row for row in content(first_skeleton).matches}
    assert said.keys() == {group.label for group in part.matches}
    places = {note.place.id: note.place for note in part.accidentals}
    for group in part.matches:
        row = said[group.label]
        assert row.pitches.count("♯") == (len(group.octaves) if group.pitch_class.alter == 1 else 0)
        assert row.measures.split(", ") == list(
            dict.fromkeys(places[note].measure for note in group.notes)
        )
    assert said["K"].lean == "half step below G"


def test_the_table_has_every_target_once_and_its_values(first_skeleton) -> None:
    # Pythagorean from A4, above equal temperament: D -2.0, G -3.9, E +2.0 cents (2 ln(3/2) ...).
    said = content(first_skeleton).targets
    rows = {row.note: row for row in said.rows}
    assert len(rows) == len(said.rows)
    assert [rows[name].tuner for name in ("A", "D", "G", "E")] == ["0.0", "−2.0", "−3.9", "+2.0"]
    assert rows["F♯"].step == "90.2 (80 to 100)"
    assert rows["D"].tuned_from == "open D4, exact"
    assert "D5: octave above D4" in rows["D"].check
    assert "21.5 cents" in said.notes[-1]


def test_german_says_the_same_in_german_names(first_skeleton) -> None:
    english, german = content(first_skeleton), content(first_skeleton, "de")
    assert [row.letter for row in english.matches] == [row.letter for row in german.matches]
    assert {row.note for row in german.targets.rows} >= {"Fis", "Cis", "Es", "B", "H"}
    assert german.strings == ("Violine, leere Saiten g d′ a′ e′′, a′ = 442 Hz",)
    assert german.passages[0].parts[0].notes[0].how == "Halbton unter g′"


@pytest.mark.parametrize("code", ["en", "de"])
def test_all_cautions_are_said(first_skeleton, code: str) -> None:
    assert len(content(first_skeleton, code).cautions) == len(UNDER_TARGETS)


def test_parts_are_named_where_there_are_several(scores) -> None:
    part = (scores / "first-skeleton.musicxml").read_text(encoding="utf-8")
    head, body = (
        re.search(r"<score-part .*?</score-part>", part, re.DOTALL)[0],
        (re.search(r'<part id="P1">.*</part>', part, re.DOTALL)[0]),
    )
    two = part.replace(head, head + head.replace('"P1"', '"P2"').replace("P1-", "P2-")).replace(
        body, body + re.sub(r' id="[^"]*"', "", body).replace("<part>", '<part id="P2">')
    )
    analysis = skeleton.analyse(skeleton.score.reading.read_bytes(two.encode(), "two.musicxml"))
    said = handout_content(analysis, targets(analysis), words("en"))
    assert [one.part for one in said.passages[0].parts] == ["Violin", "Violin"]
    assert len(said.tuning) == 1
