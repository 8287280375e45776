"""Slurs: pairing and events.

Rules: MusicXML 4.0 (slur; number levels) for the pairing by number; the rest, how slurs
stand in real files and what a player takes for one event, is common practice, no source.
"""

from __future__ import annotations

import pytest

from skeleton.score.reading import read_bytes

BACK = "<backup><duration>16</duration></backup>"
GRACE = "<grace/>"
CHORD = "<chord/>"


def pitches(part, slur):
    """The events of a slur as pitches: "A4 B4", chords as "D4+A4"."""
    by_id = {note.id: str(note.pitch) for note in part.notes}
    return " ".join("+".join(by_id[note] for note in event) for event in slur.events)


def all_pitches(part):
    return [pitches(part, slur) for slur in part.slurs]


def codes(score):
    return [notice.code for notice in score.notices]


def test_two_note_slurs(read_part, note):
    part = read_part(
        note("A4", 4, slur="start") + note("B4", 4, slur="stop")
        + note("C5", 4, slur="start 1") + note("D5", 4, slur="stop 1")
    )  # fmt: skip
    assert all_pitches(part) == ["A4 B4", "C5 D5"]
    first = part.slurs[0]
    assert (first.start, first.stop, first.number) == (part.notes[0].id, part.notes[1].id, "1")
    assert (first.onset_quarters, first.end_quarters) == (0, 2)


def test_eight_notes(read_part, note):
    letters = ["F5", "Eb5", "D5", "C5", "Bb4", "A4", "G4", "F4"]
    text = note("F5", 2, slur="start") + "".join(note(each, 2) for each in letters[1:-1])
    part = read_part(text + note("F4", 2, slur="stop"))
    assert all_pitches(part) == [" ".join(letters)]


@pytest.mark.parametrize("marks", ["stop,start", "start,stop"])
def test_a_note_may_end_one_slur_and_begin_the_next(read_part, note, marks):
    part = read_part(
        note("A4", 4, slur="start") + note("B4", 4, slur=marks) + note("C5", 8, slur="stop")
    )
    assert all_pitches(part) == ["A4 B4", "B4 C5"]


def test_over_the_barline(read_part, note):
    part = read_part(note("A4", 16, slur="start"), note("B4", 16, slur="stop"))
    assert all_pitches(part) == ["A4 B4"]
    assert part.slurs[0].end_quarters == 8


def test_nested_slurs_are_all_kept(read_part, note):
    part = read_part(
        note("A4", 4, slur="start 1,start 2") + note("B4", 4, slur="stop 2")
        + note("C5", 4, slur="start 2") + note("D5", 4, slur="stop 2,stop 1")
    )  # fmt: skip
    assert sorted(all_pitches(part)) == ["A4 B4", "A4 B4 C5 D5", "C5 D5"]


def test_nested_slurs_without_numbers_close_inside_out(read_part, note):
    part = read_part(
        note("A4", 4, slur="start") + note("B4", 4, slur="start")
        + note("C5", 4, slur="stop") + note("D5", 4, slur="stop")
    )  # fmt: skip
    assert sorted(all_pitches(part)) == ["A4 B4 C5 D5", "B4 C5"]


def test_one_number_may_be_open_in_two_voices(read_part, note):
    part = read_part(
        note("A4", 8, slur="start 1") + note("B4", 8, slur="stop 1") + BACK
        + note("D4", 8, slur="start 1", voice="2") + note("E4", 8, slur="stop 1", voice="2")
    )  # fmt: skip
    assert sorted(all_pitches(part)) == ["A4 B4", "D4 E4"]


def test_and_on_two_staves_of_one_voice(read_part, note):
    part = read_part(
        note("A4", 8, slur="start 1", staff="1") + note("B4", 8, slur="stop 1", staff="1") + BACK
        + note("D3", 8, slur="start 1", staff="2") + note("E3", 8, slur="stop 1", staff="2")
    )  # fmt: skip
    assert sorted(all_pitches(part)) == ["A4 B4", "D3 E3"]


def test_a_slur_may_cross_voices_and_takes_the_events_of_both(read_part, note):
    part = read_part(
        note("A4", 4, slur="start 1") + note("r", 4) + note("C5", 4) + note("r", 4) + BACK
        + note("r", 4, voice="2") + note("D4", 4, voice="2") + note("r", 4, voice="2")
        + note("E4", 4, voice="2", slur="stop 1")
    )  # fmt: skip
    assert all_pitches(part) == ["A4 D4 C5 E4"]


def test_what_begins_together_in_both_voices_is_one_event(read_part, note):
    part = read_part(
        note("A4", 8, slur="start 1") + note("C5", 8) + BACK
        + note("D4", 8, voice="2") + note("E4", 8, voice="2", slur="stop 1")
    )  # fmt: skip
    assert all_pitches(part) == ["A4+D4 C5+E4"]


def test_a_third_voice_has_no_part_in_it(read_part, note):
    part = read_part(
        note("A4", 8, slur="start") + note("B4", 8, slur="stop") + BACK
        + note("D4", 4, voice="2") + note("E4", 12, voice="2")
    )  # fmt: skip
    assert all_pitches(part) == ["A4 B4"]


def test_a_voice_that_moves_to_the_other_staff_is_one_line(read_part, note):
    part = read_part(
        note("A4", 4, slur="start", staff="1") + note("C4", 4, staff="2")
        + note("B4", 8, slur="stop", staff="1")
    )  # fmt: skip
    assert all_pitches(part) == ["A4 C4 B4"]


def test_a_stop_may_stand_before_its_start_in_the_file(read_part, note):
    part = read_part(
        note("r", 8) + note("B4", 8, slur="stop 1") + BACK
        + note("A4", 8, slur="start 1", voice="2") + note("r", 8, voice="2")
    )  # fmt: skip
    assert all_pitches(part) == ["A4 B4"]


def test_the_surer_stop_of_two_at_one_time_goes_first(read_part, note):
    # The first stop in the file is in neither voice; voice 3 must still get its own start.
    part = read_part(
        note("A4", 8, slur="start 1", voice="1") + note("r", 8, voice="1") + BACK
        + note("r", 8, voice="2") + note("B4", 8, slur="stop 1", voice="2") + BACK
        + note("D4", 8, slur="start 1", voice="3") + note("E4", 8, slur="stop 1", voice="3")
    )  # fmt: skip
    assert sorted(all_pitches(part)) == ["A4 B4", "D4 E4"]


def test_chords_are_one_event(read_part, note):
    part = read_part(
        note("D4", 8, slur="start") + note("A4", 8, before=CHORD)
        + note("E4", 8) + note("B4", 8, before=CHORD, slur="stop")
    )  # fmt: skip
    assert all_pitches(part) == ["D4+A4 E4+B4"]
    assert part.slurs[0].stop == part.notes[3].id


def test_a_slur_drawn_at_every_chord_note_is_one_slur(read_part, note):
    # LilyPond's MusicXML test suite, 33g: such repetitions "should be ignored".
    part = read_part(
        note("D4", 4, slur="start") + note("A4", 4, before=CHORD, slur="start")
        + note("E4", 4, slur="stop") + note("B4", 4, before=CHORD, slur="stop")
        + note("D4", 4, slur="start 1") + note("A4", 4, before=CHORD, slur="start 2")
        + note("E4", 4, slur="stop 1") + note("B4", 4, before=CHORD, slur="stop 2")
    )  # fmt: skip
    assert all_pitches(part) == ["D4+A4 E4+B4", "D4+A4 E4+B4"]


@pytest.mark.parametrize("starts", [("start", ""), ("", "start"), ("start", "start")])
@pytest.mark.parametrize("stops", [("stop", ""), ("", "stop"), ("stop", "stop")])
def test_chord_ends_need_not_agree(read_part, note, starts, stops):
    (first, second), (third, fourth) = starts, stops
    pair = (
        note("D4", 4, slur=first) + note("A4", 4, before=CHORD, slur=second)
        + note("E4", 4, slur=third) + note("B4", 4, before=CHORD, slur=fourth)
    )  # fmt: skip
    part = read_part(pair + pair)
    assert all_pitches(part) == ["D4+A4 E4+B4", "D4+A4 E4+B4"]


def test_two_chord_stops_leave_another_voice_its_slur(read_part, note):
    part = read_part(
        note("D4", 4, slur="start") + note("E4", 4, slur="stop")
        + note("B4", 4, before=CHORD, slur="stop") + note("r", 8) + BACK
        + note("G3", 8, voice="2", slur="start") + note("A3", 8, voice="2", slur="stop")
    )  # fmt: skip
    assert sorted(all_pitches(part)) == ["D4 E4+B4", "G3 A3"]


def test_grace_notes_are_not_counted(read_part, note):
    part = read_part(
        note("E5", None, before=GRACE, slur="start") + note("D5", 4, slur="stop")
        + note("A4", None, before=GRACE, slur="start") + note("G4", 4) + note("F4", 8, slur="stop")
    )  # fmt: skip
    assert all_pitches(part) == ["D5", "G4 F4"]


def test_a_grace_note_inside_a_slur(read_part, note):
    part = read_part(
        note("A4", 8, slur="start") + note("C5", None, before=GRACE) + note("B4", 8, slur="stop")
    )
    assert all_pitches(part) == ["A4 B4"]


def test_grace_slurs_in_chords_and_runs(read_part, note):
    part = read_part(
        note("C5", None, before=GRACE, slur="start") + note("E5", None, before=GRACE + CHORD)
        + note("D5", None, before=GRACE) + note("B4", 16, slur="stop")
    )  # fmt: skip
    assert all_pitches(part) == ["B4"]


def test_after_graces_do_not_reach_the_next_note(read_part, note):
    part = read_part(
        note("A4", 4, slur="start") + note("B4", 12)
        + note("C5", None, before=GRACE) + note("B4", None, before=GRACE, slur="stop"),
        note("F4", 16),
    )  # fmt: skip
    assert all_pitches(part) == ["A4 B4"]


def test_a_chain_over_a_grace_note(read_part, note):
    # The grace note's own slur ends on the note where the next slur begins.
    part = read_part(
        note("C5", None, before=GRACE, slur="start 1") + note("B4", 8, slur="stop 1,start 1")
        + note("A4", 8, slur="stop 1")
    )  # fmt: skip
    assert sorted(all_pitches(part)) == ["B4", "B4 A4"]


def test_a_tie_inside_is_no_new_event(read_part, note):
    part = read_part(
        note("C5", 8, slur="start", tie="start") + note("C5", 4, tie="stop")
        + note("B4", 4, slur="stop")
    )  # fmt: skip
    assert all_pitches(part) == ["C5 B4"]


def test_a_tie_over_the_barline_inside(read_part, note):
    part = read_part(
        note("C5", 16, slur="start", tie="start"), note("C5", 8, tie="stop")
        + note("B4", 8, slur="stop"),
    )  # fmt: skip
    assert all_pitches(part) == ["C5 B4"]


def test_a_held_first_note_is_event_one(read_part, note):
    part = read_part(
        note("C5", 4, tie="start") + note("C5", 4, tie="stop", slur="start") + note("D5", 4)
        + note("C5", 4, slur="stop")
    )  # fmt: skip
    (slur,) = part.slurs
    assert pitches(part, slur) == "C5 D5 C5"
    assert slur.events[0] == (part.notes[0].id,)
    assert slur.start == part.notes[1].id
    assert slur.onset_quarters == 1


def test_a_held_chord_note_and_a_new_one_are_one_event(read_part, note):
    part = read_part(
        note("D4", 4, tie="start") + note("A4", 4, before=CHORD)
        + note("D4", 4, tie="stop", slur="start") + note("B4", 4, before=CHORD)
        + note("E4", 8, slur="stop")
    )  # fmt: skip
    assert all_pitches(part) == ["D4+B4 E4"]


def test_tie_only_slurs_are_legal_and_short(read_part, note):
    part = read_part(
        note("C5", 8, slur="start", tie="start") + note("C5", 8, slur="stop", tie="stop")
    )
    assert all_pitches(part) == ["C5"]
    assert part.slurs[0].end_quarters == 4


def test_a_slur_ends_where_its_last_event_stops_sounding(read_part, note):
    part = read_part(
        note("A4", 8, slur="start") + note("B4", 8, slur="stop", tie="start"),
        note("B4", 4, tie="stop") + note("C5", 12),
    )
    assert part.slurs[0].end_quarters == 5


def test_a_cue_note_is_no_event(read_part, note):
    part = read_part(
        note("A4", 4, slur="start") + note("C5", 4, before="<cue/>") + note("B4", 8, slur="stop")
    )
    assert all_pitches(part) == ["A4 B4"]


def test_hidden_rests_inside_do_not_matter(read_part, note):
    part = read_part(
        note("A4", 4, slur="start") + note("r", 4, attributes=' print-object="no"')
        + note("B4", 8, slur="stop")
    )  # fmt: skip
    assert all_pitches(part) == ["A4 B4"]


def test_continue_opens_nothing(read_part, note):
    part = read_part(
        note("A4", 4, slur="start 1") + note("B4", 4, slur="continue 1")
        + note("C5", 8, slur="stop 1")
    )  # fmt: skip
    assert all_pitches(part) == ["A4 B4 C5"]


def test_a_stop_on_a_rest_takes_the_last_sounding_note(read_score, note):
    score = read_score(
        note("A4", 4, slur="start") + note("B4", 4) + note("r", 4, slur="stop") + note("C5", 4)
    )
    (part,) = score.parts
    assert all_pitches(part) == ["A4 B4"]
    assert part.slurs[0].stop == part.notes[1].id
    assert part.slurs[0].end_quarters == 2
    assert codes(score) == ["slur-on-rest"]


def test_a_start_on_a_rest_takes_the_first_sounding_note(read_score, note):
    score = read_score(note("r", 4, slur="start") + note("B4", 4) + note("C5", 8, slur="stop"))
    (part,) = score.parts
    assert all_pitches(part) == ["B4 C5"]
    assert part.slurs[0].start == part.notes[1].id
    assert codes(score) == ["slur-on-rest"]


@pytest.mark.parametrize(
    ("marks", "expected"),
    [
        (["stop", "", "start", "stop"], ["slur-stop-without-start"]),
        (["start", "", "start", "stop"], ["slur-without-stop"]),
        (["start,stop", "", "start", "stop"], ["slur-within-one-event"]),
        (["stop,start", "", "start", "stop"], ["slur-within-one-event"]),
        (["stop 2", "", "start 1", "stop 1"], ["slur-stop-without-start"]),
        (
            ["start 1,stop 2", "", "start 1", "stop 1"],
            ["slur-without-stop", "slur-stop-without-start"],
        ),
    ],
)
def test_malformed_slurs_are_named_and_left_out(read_score, note, marks, expected):
    score = read_score(
        "".join(
            note(each, 4, slur=mark)
            for each, mark in zip(["A4", "B4", "C5", "D5"], marks, strict=True)
        )
    )
    assert codes(score) == expected
    assert all_pitches(score.parts[0]) == ["C5 D5"]
    assert all(notice.measure == "1" and notice.part == "P1" for notice in score.notices)


def test_a_slur_within_one_chord_is_malformed(read_score, note):
    score = read_score(note("A4", 16, slur="start") + note("C5", 16, before=CHORD, slur="stop"))
    assert codes(score) == ["slur-within-one-event"]
    assert score.parts[0].slurs == ()


def test_slurs_do_not_cross_parts(score, measures, note):
    found = read_bytes(
        score(
            measures(note("A4", 16, slur="start"), note("r", 16)),
            measures(note("r", 16), note("A4", 16, slur="stop")),
        ),
        "x",
    )
    assert [part.slurs for part in found.parts] == [(), ()]
    assert [(each.code, each.part) for each in found.notices] == [
        ("slur-without-stop", "P1"), ("slur-stop-without-start", "P2"),
    ]  # fmt: skip


def test_slurs_that_pile_up_are_cut_off(read_score, note):
    depth, length = 400, 1200
    opened = ",".join("start" for _ in range(depth))
    text = note("A4", 1, slur=opened)
    inner = [note("B4", 1, slur="start" if place < depth else "") for place in range(length)]
    closing = [note("C5", 1, slur="stop") for _ in range(2 * depth)]
    score = read_score(text + "".join(inner) + "".join(closing))
    events = sum(len(slur.events) for slur in score.parts[0].slurs)
    assert "slur-crowd" in codes(score)
    assert events < 40 * (length + 2 * depth + 1)
