"""Ties: which note a continuation continues. MusicXML 4.0 (tie, tied) unless marked."""

from __future__ import annotations

import pytest


def links(part):
    """Pairs of places in the part: a continuation and the note it continues."""
    place = {note.id: index for index, note in enumerate(part.notes)}
    return [
        (index, place[note.tied_from])
        for index, note in enumerate(part.notes)
        if note.tied_from is not None
    ]


BACK = "<backup><duration>16</duration></backup>"


def test_a_tie_over_the_barline(read_part, note):
    part = read_part(note("F#4", 16, tie="start"), note("F#4", 16, tie="stop"))
    assert links(part) == [(1, 0)]
    assert [each.ties_on for each in part.notes] == [True, False]
    assert [each.is_attack for each in part.notes] == [True, False]


def test_a_chain_of_ties(read_part, note):
    part = read_part(
        note("A4", 8, tie="start") + note("A4", 4, tie="stop,start") + note("A4", 4, tie="stop")
    )
    assert links(part) == [(1, 0), (2, 1)]
    assert [each.ties_on for each in part.notes] == [True, True, False]


def test_every_chord_member_has_its_own_tie(read_part, note):
    part = read_part(
        note("D4", 8, tie="start") + note("A4", 8, before="<chord/>", tie="start")
        + note("A4", 8, tie="stop") + note("D4", 8, before="<chord/>", tie="stop")
    )  # fmt: skip
    assert links(part) == [(2, 1), (3, 0)]


def test_a_chord_may_be_tied_in_part(read_part, note):
    part = read_part(
        note("D4", 8, tie="start") + note("A4", 8, before="<chord/>")
        + note("D4", 8, tie="stop") + note("B4", 8, before="<chord/>")
    )  # fmt: skip
    assert [each.is_attack for each in part.notes] == [True, True, False, True]


@pytest.mark.parametrize("wrong", ["F4", "F#5", "Gb4"])
def test_only_the_same_spelling_continues(read_score, note, wrong):
    score = read_score(note("F#4", 8, tie="start") + note(wrong, 8, tie="stop"))
    assert links(score.parts[0]) == []
    assert [each.code for each in score.notices] == ["tie-without-start"]
    assert score.parts[0].notes[1].is_attack


def test_only_a_note_that_ends_there_is_continued(read_score, note):
    score = read_score(note("A4", 4, tie="start") + note("r", 4) + note("A4", 8, tie="stop"))
    assert links(score.parts[0]) == []
    assert [each.code for each in score.notices] == ["tie-without-start"]


def test_the_same_voice_comes_first(read_part, note):
    part = read_part(
        note("A4", 16, tie="start", voice="1") + BACK + note("A4", 16, tie="start", voice="2"),
        note("A4", 16, tie="stop", voice="2") + BACK + note("A4", 16, tie="stop", voice="1"),
    )
    assert links(part) == [(2, 1), (3, 0)]


def test_then_the_same_staff(read_part, note):
    part = read_part(
        note("A4", 16, tie="start", voice="1", staff="1")
        + BACK + note("A4", 16, tie="start", voice="5", staff="2"),
        note("A4", 16, tie="stop", voice="2", staff="2")
        + BACK + note("A4", 16, tie="stop", voice="3", staff="1"),
    )  # fmt: skip
    assert links(part) == [(2, 1), (3, 0)]


def test_a_tie_may_cross_voices_written_later(read_part, note):
    # The start stands after its continuation in the file, because of <backup>.
    part = read_part(
        note("r", 8) + note("A4", 8, tie="stop") + BACK
        + note("A4", 8, tie="start", voice="2") + note("r", 8, voice="2")
    )  # fmt: skip
    assert links(part) == [(1, 2)]


def test_one_start_is_continued_once(read_score, note):
    score = read_score(
        note("A4", 16, tie="start"),
        note("A4", 16, tie="stop") + BACK + note("A4", 16, tie="stop", voice="2"),
    )
    assert links(score.parts[0]) == [(1, 0)]
    assert [each.code for each in score.notices] == ["tie-without-start"]


def test_sound_is_believed_before_print(read_part):
    # <tie> says the first is not tied although <tied> draws it; common practice, no source.
    first = (
        "<note><pitch><step>A</step><octave>4</octave></pitch><duration>8</duration>"
        '{}<notations><tied type="start"/></notations></note>'
    )
    second = (
        "<note><pitch><step>A</step><octave>4</octave></pitch><duration>8</duration>"
        '<notations><tied type="stop"/></notations></note>'
    )
    part = read_part(first.format("") + second)
    assert links(part) == [(1, 0)]


def test_tied_alone_is_enough_and_let_ring_is_no_tie(read_part, note):
    ring = note("A4", 8).replace("</note>", '<notations><tied type="let-ring"/></notations></note>')
    part = read_part(ring + note("A4", 8))
    assert [each.ties_on for each in part.notes] == [False, False]


def test_a_grace_note_may_be_tied_to_its_main_note(read_part, note):
    part = read_part(note("A4", None, before="<grace/>", tie="start") + note("A4", 16, tie="stop"))
    assert links(part) == [(1, 0)]


def test_a_tie_that_goes_nowhere_is_an_attack_that_ties_on(read_part, note):
    part = read_part(note("A4", 16, tie="start"))
    assert part.notes[0].ties_on
    assert part.notes[0].is_attack


def test_ties_do_not_cross_parts(score, measures, note):
    from skeleton.score.reading import read_bytes

    found = read_bytes(
        score(measures(note("A4", 16, tie="start"), note("r", 16)),
              measures(note("r", 16), note("A4", 16, tie="stop"))),
        "x",
    )  # fmt: skip
    assert [each.code for each in found.notices] == ["tie-without-start"]
    assert found.notices[0].part == "P2"


def test_a_chord_note_counted_too_short_is_still_tied(read_part, note):
    # Seen in real files: the members of a chord carry different durations.
    part = read_part(
        note("E3", 16, tie="start") + note("B3", 12, before="<chord/>", tie="start"),
        note("E3", 16, tie="stop") + note("B3", 16, before="<chord/>", tie="stop"),
    )
    assert links(part) == [(2, 0), (3, 1)]
