"""Where kept notes stand: at their slur's start, whole, once, in order."""

from __future__ import annotations

from fractions import Fraction

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import parse_lesson
from skeleton.analysis.results import Analysis
from skeleton.export.reducing.placement import Placement, kept_ids, place
from skeleton.score.reading import read_bytes


def analysed(data: bytes, lesson: str = "") -> Analysis:
    return analyse(read_bytes(data, "etude.musicxml"), parse_lesson(lesson))


def placed(
    data: bytes, *, lesson: str = "", accidentals: bool = False, keep: bool = False
) -> tuple[Placement, ...]:
    found = analysed(data, lesson)
    return place(
        found.score.parts[0],
        found.parts[0],
        found.passages,
        found.rule,
        keep_open_strings=keep,
        accidentals=accidentals,
    )


def rows(placements: tuple[Placement, ...]) -> list[tuple[str, str, str]]:
    return [("+".join(p.notes), str(p.start), str(p.end)) for p in placements]


def test_slurred_pairs_read_as_even_notes(write_etude) -> None:
    data = write_etude(
        "C#5:1/4( D5:1/4) E#4:1/4( F#4:1/4) G#4:1/4( A4:1/4) A#4:1/4( B4:1/4)", metre="2/4"
    )
    assert rows(placed(data)) == [
        ("a2", "0", "1/2"), ("a4", "1/2", "1"), ("a6", "1", "3/2"), ("a8", "3/2", "2"),
    ]  # fmt: skip


def test_what_was_moved_says_so(write_etude) -> None:
    first, second = placed(write_etude("C#5:1( D5:1) | G4:1( F#4:1)", metre="2/4"))
    assert first.snapped
    assert second.snapped
    assert (second.start, second.end) == (2, 4)


def test_a_slur_over_the_barline_keeps_its_length(write_etude) -> None:
    data = write_etude("r:1 C#5:1( | D5:1) r:1", metre="2/4")
    assert rows(placed(data)) == [("a3", "1", "3")]


def test_two_kept_notes_of_one_slur(write_etude) -> None:
    """The first stands at the slur's start, the other at its own time: nothing overlaps."""
    lesson = '[[note]]\nid = "a3"\nskeleton = true\n'
    data = write_etude("C#5:1/2( F5:1/2 F#5:1/2 B4:1/2)", metre="2/4")
    assert rows(placed(data, lesson=lesson)) == [("a2", "0", "1"), ("a3", "1", "2")]


def test_a_note_held_into_the_slur_is_its_first_event(write_etude) -> None:
    """So the second event is the next attack; the slur, and its room, begin at the barline."""
    data = write_etude("r:1 C#5:1~ | C#5:1/2( D5:1/2) r:1", metre="2/4")
    (only,) = placed(data)
    assert only.notes == ("a4",)
    assert (only.start, only.end) == (2, 3)


def test_the_attack_of_a_held_first_event_is_not_moved(write_etude) -> None:
    """Rule ``first``: the attack lies before the slur and stays where it is struck."""
    data = write_etude("r:1 C#5:1~ | C#5:1/2( D5:1/2) r:1", metre="2/4")
    (only,) = placed(data, lesson='rule = "first"\n')
    assert only.notes == ("a2",)
    assert only.start == 1
    assert not only.snapped


def test_notes_on_the_beat_are_not_moved(write_etude) -> None:
    data = write_etude("C#5:1/2( D5:1/2 E5:1/2 F5:1/2)", metre="2/4")
    assert rows(placed(data, lesson='rule = "on-beat"\n')) == [("a1", "0", "1"), ("a3", "1", "2")]


def test_chords_are_kept_whole_where_one_member_is_kept(write_etude) -> None:
    """The open D is kept for its name, where no slur gives anything; the C sharp comes along."""
    assert placed(write_etude("D4+C#5:1 r:1", metre="2/4"))[0].notes == ("a1", "a1.2")


def test_open_string_notes_stand_in_where_a_passage_has_no_slur(write_etude) -> None:
    data = write_etude("G4:1 F#4:1 | B4:1( C5:1)", metre="2/4")
    lesson = '[[passage]]\nname = "A"\nmeasures = "1"\n[[passage]]\nname = "B"\nmeasures = "2"\n'
    found = analysed(data, lesson)
    assert kept_ids(found.parts[0], found.passages, keep_open_strings=False) == {"a1", "a4"}


def test_open_string_notes_are_kept_on_request(write_etude) -> None:
    data = write_etude("G4:1 F#4:1 | B4:1( C5:1)", metre="2/4")
    assert [p.notes for p in placed(data)] == [("a4",)]
    assert [p.notes for p in placed(data, keep=True)] == [("a1",), ("a4",)]


def test_a_note_without_a_slur_is_held_to_the_end_of_its_beat(write_etude) -> None:
    data = write_etude("G4:1/4 F#4:3/4 F#4:1 | G4:1/2 F4:3/2", metre="2/4")
    assert rows(placed(data)) == [("a1", "0", "1"), ("a4", "2", "3")]


def test_a_pickup_counts_its_beats_from_its_end(write_etude) -> None:
    """A pickup of three eighths: its one whole beat is the last."""
    data = write_etude("G4:1/4 F#4:1/4 F4:1 | G4:4", pickup="3/2")
    assert rows(placed(data)) == [("a1", "0", "1/2"), ("a4", "3/2", "11/2")]


def test_accidentals_stand_small_at_their_own_time(write_etude) -> None:
    data = write_etude("C#5:1/2( D5:1/2) F#4:1/2( G4:1/2)", metre="2/4")
    assert [(p.notes, p.start, p.small) for p in placed(data, accidentals=True)] == [
        (("a1",), 0, True),
        (("a2",), Fraction(1, 2), False),
        (("a3",), 1, True),
        (("a4",), Fraction(3, 2), False),
    ]


def test_a_skeleton_note_that_no_accidental_precedes_still_moves(write_etude) -> None:
    data = write_etude("C5:1/2( D5:1/2) D#5:1/2( E5:1/2)", metre="2/4")
    found = placed(data, accidentals=True)
    assert [(p.notes, str(p.start)) for p in found] == [
        (("a2",), "0"), (("a3",), "1"), (("a4",), "3/2"),
    ]  # fmt: skip


def test_voices_that_cross_keep_their_own_lines(write_etude) -> None:
    data = write_etude("C#5:1( D5:1)", "F#5:1/2( G5:1/2) F#4:1/2( G4:1/2)", metre="2/4")
    found = placed(data)
    assert {(p.voice, p.notes, str(p.start), str(p.end)) for p in found} == {
        ("1", ("a2",), "0", "2"), ("2", ("b2",), "0", "1"), ("2", ("b4",), "1", "2"),
    }  # fmt: skip


def test_grace_notes_take_no_time(write_etude) -> None:
    data = write_etude("g:C#5( D5:1) F#4:1( | G4:2)", metre="2/4")
    assert [p.notes for p in placed(data)] == [("a4",)]
    assert all("a1" not in p.notes for p in placed(data, accidentals=True))


@pytest.mark.parametrize("rule", ["second", "first", "last", "pairs"])
def test_a_part_without_skeleton_places_nothing(write_etude, rule: str) -> None:
    assert placed(write_etude("C5:4 | B4:4"), lesson=f'rule = "{rule}"\n') == ()
