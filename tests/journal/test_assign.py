"""Next week's draft: what the record asks for, what the page asks for, and a file that is read."""

from __future__ import annotations

import tomllib
from pathlib import Path
from types import ModuleType

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, parse_lesson, read_lesson
from skeleton.analysis.results import Analysis
from skeleton.export.lesson_draft import lesson_draft
from skeleton.journal.assign import assignment
from skeleton.journal.content import note_keys
from skeleton.journal.difficulty import difficulty
from skeleton.journal.progress import Progress, progress
from skeleton.journal.records import Music
from skeleton.score.reading import read, read_bytes

SCORES = Path(__file__).parents[2] / "scores"

LESSON = """
[[passage]]
name = "low"
measures = "1-2"
tempo = 80

[[passage]]
name = "flats"
measures = "3-4"
tempo = 80

[[passage]]
name = "high"
measures = "5-6"
"""


@pytest.fixture(scope="module")
def lesson() -> Lesson:
    return parse_lesson(LESSON)


@pytest.fixture(scope="module")
def etude(students: ModuleType, lesson: Lesson) -> Analysis:
    return analyse(read_bytes(students.document(students.PITCHES.split()), "e.musicxml"), lesson)


def record(analysis: Analysis, students: ModuleType, habits: dict, days: int = 20) -> Progress:
    keys = note_keys(analysis.score)
    music = Music("0" * 64, None, keys)
    return progress(analysis, keys, "Ana", students.days_of(music, habits, 1, days), takes=days)


def test_what_comes_back_is_proposed(etude: Analysis, lesson: Lesson, students: ModuleType) -> None:
    # B flat stands in measures 2, 4 and 6: not once in 1, 3 and 5, and in all three passages.
    found = record(etude, students, {"G#": students.flat_by_15})
    week = assignment(etude, lesson, found)
    assert week.source == "record"
    # G sharp: once in measure 4, once in measure 6.
    assert [one.passage.name for one in week.passages] == ["flats", "high"]
    flats = week.passages[0]
    assert (flats.stage, flats.tempo, flats.given_tempo) == ("neighbours", 60, 80)
    assert [str(group.pitch_class) for group in flats.match] == ["G#"]
    (reason,) = flats.reasons
    assert reason.group is not None
    assert reason.group.finding.condition == "habit"
    text = lesson_draft(etude, lesson, week)
    assert "# From the record of Ana: 20 takes." in text
    label = reason.group.group.label
    assert f"# {label}: G# in octaves 4 and 5: flat again and again, 1" in text
    assert "tempo = 60  # slower than 80, while it comes back" in text


def test_the_skeleton_alone_where_it_is_off(
    etude: Analysis, lesson: Lesson, students: ModuleType
) -> None:
    found = record(etude, students, {"D5": students.flat_by_15, "D4": students.flat_by_15})
    week = assignment(etude, lesson, found)
    assert {one.stage for one in week.passages} == {"bare"}


def test_worse_goes_first(etude: Analysis, lesson: Lesson, students: ModuleType) -> None:
    found = record(etude, students, {"F#4": students.scatters, "G#": students.drifts_flat})
    assert assignment(etude, lesson, found).passages[0].passage.name == "flats"


def test_everything_where_nothing_is_proved(
    etude: Analysis, lesson: Lesson, students: ModuleType
) -> None:
    found = record(etude, students, {"G#": students.scatters})
    week = assignment(etude, lesson, found)
    assert {one.stage for one in week.passages} == {"all"}
    assert week.passages[0].tempo == 80


@pytest.mark.parametrize("days", [0, 20])
def test_a_record_that_asks_for_nothing(
    etude: Analysis, lesson: Lesson, students: ModuleType, days: int
) -> None:
    week = assignment(etude, lesson, record(etude, students, {}, days))
    assert week.source == "difficulty"
    text = lesson_draft(etude, lesson, week)
    assert "asks for nothing yet" in text
    assert "by the page: " in text


def test_figures_of_the_page(etude: Analysis) -> None:
    low, flats, high = difficulty(etude)
    # Counted by hand in the pitches: F#4 G4 C#5 D5 F#5 G5 Bb4 A4 for the first passage.
    assert (low.notes, low.altered_share) == (8, 4 / 8)
    # D5 to... no leap but G5 to Bb4, nine half steps, and G4 to C#5, six: two of seven steps.
    assert (low.leap_share, low.largest_semitones) == (2 / 7, 9)
    assert low.leap_semitones == pytest.approx(15 / 7)
    # B5 is a fifth over the open E; nothing here is higher.
    assert {one.high_share for one in (low, flats, high)} == {0}
    assert low.returns == 1
    assert max(one.weight for one in (low, flats, high)) <= 3


def test_high_notes(students: ModuleType) -> None:
    score = read_bytes(students.document(["B5", "C6", "D6", "E5"]), "e.musicxml")
    (found,) = difficulty(analyse(score))
    assert found.high_share == 2 / 4


@pytest.mark.parametrize("path", sorted(SCORES.glob("*.m*x*")), ids=lambda path: path.stem)
def test_every_draft_is_read_and_keeps_the_lesson(path: Path) -> None:
    lesson = read_lesson(path.with_suffix(".toml"))
    analysis = analyse(read(path), lesson)
    week = assignment(analysis, lesson, None)
    text = lesson_draft(analysis, lesson, week)
    draft = parse_lesson(text, "draft")
    for name in ("rule", "key", "key_signs", "a4_hz", "instrument", "open_strings", "part",
                 "notes", "leans", "keep_open_strings"):  # fmt: skip
        assert getattr(draft, name) == getattr(lesson, name), name
    again = analyse(analysis.score, draft)
    names = {one.passage.name for one in week.passages}
    assert {one.name for one in again.passages} == names
    for part, before in zip(again.parts, analysis.parts, strict=True):
        assert part.skeleton == before.skeleton
        assert part.accidentals == before.accidentals
        assert part.matches == before.matches
    assert text.count("# by the page") == len(week.passages)


def test_no_text_can_break_the_file(students: ModuleType) -> None:
    awkward = '"""\\ [[note]] # \u007f '
    analysis = analyse(
        read_bytes(students.document(students.PITCHES.split()), "e.musicxml"),
        Lesson(title="x", source="y"),
    )
    text = lesson_draft(analysis, Lesson(title=awkward), assignment(analysis, Lesson(), None))
    assert tomllib.loads(text)["title"] == awkward
