"""LilyPond's MusicXML test suite, as packaged with music21 (MIT, edited there in places).

Every file is read or refused in one line. Where a file's own description (its
``miscellaneous-field``) says what is in it, that is checked; the sentence is quoted.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Final

import music21
import pytest

from skeleton.errors import ScoreError
from skeleton.score.reading import read

FOLDER: Final = Path(music21.__file__).parent / "musicxml" / "lilypondTestSuite"
FILES: Final = sorted(
    path.name for path in FOLDER.iterdir() if path.suffix in (".xml", ".mxl", ".musicxml")
)


def part_of(start: str, place: int = 0):
    (name,) = [name for name in FILES if name.startswith(start)]
    return read(FOLDER / name).parts[place]


def slurred(part) -> list[str]:
    by_id = {note.id: str(note.pitch) for note in part.notes}
    return [
        " ".join("+".join(by_id[note] for note in event) for event in slur.events)
        for slur in part.slurs
    ]


def spans(part) -> list[tuple[int, int]]:
    """First and last place of each slur among the notes."""
    place = {note.id: place for place, note in enumerate(part.notes, start=1)}
    return sorted((place[slur.start], place[slur.stop]) for slur in part.slurs)


def test_there_are_all_of_them():
    assert len(FILES) > 130


@pytest.mark.parametrize("name", FILES)
def test_every_file_is_read_or_refused_in_one_line(name):
    try:
        score = read(FOLDER / name)
    except ScoreError as error:
        pytest.fail(f"all of these are scores, and this one is refused: {error}")
    assert score.parts or [each.code for each in score.notices].count("no-notes") == 1
    for notice in score.notices:
        assert "\n" not in notice.message


def test_33c_slurs():
    # "A note can be the end of one slur and the start of a new slur. Also, in MusicXML, nested
    # slurs are possible like in the second measure where one slur goes over all four notes, and
    # another slur goes from the second to the third note."
    part = part_of("33c")
    assert spans(part) == [(1, 2), (2, 3), (3, 4), (5, 8), (6, 7)]
    assert slurred(part)[-2:] == ["G4 C5 A4 G4", "C5 A4"]


def test_33g_slurs_on_chords():
    # Described as "Slurs on chorded notes: Only the first note of the chord should get the slur
    # notation."
    part = part_of("33g")
    assert slurred(part) == ["G4+C5+G5 A4+D5 G4+D5", "G4+D5 C5"]


def test_24f_a_grace_note_slurred_to_its_main_note():
    # "A grace note with a slur to the actual note."
    part = part_of("24f")
    assert [note.grace for note in part.notes] == [False, True, False]
    assert spans(part) == [(2, 3)]
    assert slurred(part) == ["E5"]


def test_33b_ties():
    # "Two simple tied whole notes"
    first, second = part_of("33b").notes
    assert second.tied_from == first.id
    assert not second.is_attack
    assert first.duration_quarters == second.duration_quarters == 4


def test_33i_ties_that_do_not_end():
    # "Several ties that have their end tag missing."
    part = part_of("33i")
    assert [note.is_attack for note in part.notes] == [True, True, True, True, False]


def test_21_chords():
    # "One simple chord consisting of two notes."
    assert [note.chord for note in part_of("21a").notes if note.pitch] == [False, True]
    # Its description: "Some three-note chords, with various durations."
    part = part_of("21c")
    sizes = Counter(note.onset_quarters for note in part.notes)
    assert list(sizes.values()) == [3, 2, 3, 3, 3, 3, 3]  # the second chord has but two
    assert sum(note.chord for note in part.notes) == sum(sizes.values()) - len(sizes)
    # "Check for proper chord detection after a pickup measure"
    part = part_of("21e")
    assert part.measures[0].length_quarters == 1
    assert [str(note.onset_quarters) for note in part.notes] == ["0", "1", "1", "1", "2", "2"]


def test_21f_a_chord_with_something_between_its_notes():
    part = part_of("21f")
    assert {note.onset_quarters for note in part.notes[:3]} == {0}


def test_03b_backup():
    # "Two voices with a backup, that does not jump to the beginning for the measure for voice 2,
    # but somewhere in the middle."
    part = part_of("03b")
    assert [(note.voice, note.onset_quarters) for note in part.notes] == [
        ("1", 0), ("1", 1), ("2", 1), ("2", 2),
    ]  # fmt: skip


def test_46e_a_voice_that_starts_late():
    # "Voice 2 should start at 2nd beat of first full measure."
    part = part_of("46e")
    (late,) = [note for note in part.notes if note.voice == "2"]
    assert late.measure == 1
    assert part.beat(late) == 2


def test_03c_divisions_that_change():
    # "the first half measure uses a division of 1, which then changes to 8 in the middle of the
    # first measure and to 38 in the middle of the second measure."
    part = part_of("03c")
    assert [note.onset_quarters for note in part.notes] == [0, 1, 2, 3, 4, 6]


def test_23a_tuplets():
    # Described as "Some tuplets (3:2, 3:2, 3:2, 4:2, 4:1, 7:3, 6:2)"
    part = part_of("23a")
    ratios = [note.time_modification for note in part.notes]
    runs = [
        (each.actual, each.normal)
        for place, each in enumerate(ratios)
        if each is not None and (place == 0 or ratios[place - 1] != each)
    ]
    assert runs == [(3, 2), (4, 2), (4, 1), (7, 3), (6, 2)]
    assert part.notes[17].duration_quarters == Fraction(3, 7)
    assert all(measure.length_quarters == 4 for measure in part.measures)


def test_42a_two_voices():
    # "Two voices share one staff."
    part = part_of("42a")
    assert {note.voice for note in part.notes} == {"1", "2"}
    assert part.staves == 1
    assert all(measure.length_quarters == 4 for measure in part.measures)


def test_01d_microtones():
    # "Some microtones: c flat-and-a-half, d half-flat, e half-sharp, f sharp-and-a half. Once in
    # the lower and once in the upper region of the staff."
    half = Fraction(1, 2)
    expected = [("C", -3 * half), ("D", -half), ("E", half), ("F", 3 * half)]
    pitches = [note.pitch for note in part_of("01d").notes]
    assert [(each.step, each.alter) for each in pitches] == expected * 2
    assert [each.octave for each in pitches] == [4] * 4 + [5] * 4


def test_72a_transposing_instruments():
    found = [part_of("72a", place).transposition_at(Fraction(0)) for place in range(3)]
    # Trumpet in B flat, horn in E flat, piano: common practice, no source.
    assert [(each.diatonic, each.chromatic) for each in found] == [(-1, -2), (-5, -9), (0, 0)]
