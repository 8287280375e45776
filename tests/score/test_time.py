"""Onsets, durations, measures: the clock of a part.

Expected values follow MusicXML 4.0 (divisions, backup, forward, chord, grace) unless marked.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.score.model import Metre


def onsets(part):
    return [note.onset_quarters for note in part.notes]


def codes(score):
    return [notice.code for notice in score.notices]


def test_notes_follow_one_another(read_part, note):
    part = read_part(note("A4", 4) + note("B4", 2) + note("C5", 10))
    assert onsets(part) == [0, 1, Fraction(3, 2)]
    assert [each.duration_quarters for each in part.notes] == [1, Fraction(1, 2), Fraction(5, 2)]
    assert all(isinstance(each.onset_quarters, Fraction) for each in part.notes)


def test_chord_members_share_the_onset_of_the_first(read_part, note):
    part = read_part(
        note("A4", 8)
        + note("C5", 8, before="<chord/>")
        + note("E5", 4, before="<chord/>")
        + note("B4", 8)
    )
    assert onsets(part) == [0, 0, 0, 2]
    assert [each.chord for each in part.notes] == [False, True, True, False]
    assert part.measures[0].length_quarters == 4


def test_chord_member_without_voice_takes_that_of_the_first(read_part, note):
    member = note("C5", 16, before="<chord/>").replace("<voice>1</voice>", "")
    part = read_part(note("A4", 16, voice="2") + member)
    assert [each.voice for each in part.notes] == ["2", "2"]


def test_grace_notes_take_no_time(read_part, note):
    part = read_part(
        note("A4", 8)
        + note("G4", None, before="<grace/>")
        + note("B4", None, before="<grace/><chord/>")
        + note("F4", 8)
    )
    assert onsets(part) == [0, 2, 2, 2]
    assert [each.grace for each in part.notes] == [False, True, True, False]
    assert [each.duration_quarters for each in part.notes] == [2, 0, 0, 2]


def test_cue_notes_take_time_and_are_silent(read_part, note):
    part = read_part(note("A4", 8, before="<cue/>") + note("B4", 8))
    assert onsets(part) == [0, 2]
    assert [each.is_attack for each in part.notes] == [False, True]


def test_backup_and_forward(read_part, note):
    part = read_part(
        note("A4", 16)
        + "<backup><duration>16</duration></backup><forward><duration>4</duration></forward>"
        + note("C4", 8, voice="2"),
        note("D4", 16),
    )
    assert onsets(part) == [0, 1, 4]


def test_forward_counts_for_the_length_of_a_measure(read_part, note):
    part = read_part(note("A4", 8) + "<forward><duration>8</duration></forward>", note("D4", 16))
    assert onsets(part) == [0, 4]


def test_divisions_may_change(read_part, note):
    part = read_part(
        note("A4", 8) + "<attributes><divisions>6</divisions></attributes>" + note("B4", 12),
        "<attributes><divisions>1</divisions></attributes>" + note("C4", 4),
        note("D4", 4),
    )
    assert onsets(part) == [0, 2, 4, 8]


@given(
    st.lists(
        st.tuples(
            st.sampled_from([1, 2, 3, 4, 5, 6, 7, 480, 10_080, 999_983, 999_979, 999_961]),
            st.integers(1, 12),
            st.booleans(),
        ),
        min_size=1,
        max_size=12,
    )
)
def test_every_divisions_is_counted_exactly(read_score, note, steps):
    """What stands before a finer unit is met, chords and ties among it, keeps its place."""
    texts, expected, now = [], [], Fraction(0)
    for divisions, duration, tied in steps:
        kind = "stop,start" if tied and texts else "start"
        texts.append(
            f"<attributes><divisions>{divisions}</divisions></attributes>"
            + note("A4", duration, tie=kind)
            + note("C5", duration, before="<chord/>")
        )
        length = Fraction(duration, divisions)
        expected += [(now, length), (now, length)]
        now += length
    score = read_score("".join(texts), attributes="")
    (part,) = score.parts
    assert [(each.onset_quarters, each.duration_quarters) for each in part.notes] == expected
    assert part.measures[0].length_quarters == now
    below = [each for each in part.notes if not each.chord]
    assert [each.tied_from for each in below[1:]] == [
        before.id if tied else None for before, (_, _, tied) in zip(below, steps[1:], strict=False)
    ]


def test_triplets_are_exact(read_part, note):
    part = read_part(
        "".join(note("A4", 2) for _ in range(6)),
        attributes="<attributes><divisions>6</divisions></attributes>",
    )
    assert onsets(part) == [Fraction(place, 3) for place in range(6)]


def test_durations_and_divisions_may_be_decimal(read_part, note):
    part = read_part(note("A4", "0.5") + note("B4", " 1.50 ") + note("C4", "+2"))
    assert onsets(part) == [0, Fraction(1, 8), Fraction(1, 2)]


def test_missing_divisions_are_taken_as_one(read_score, note):
    score = read_score(note("A4", 1) + note("B4", 1), attributes="")
    assert onsets(score.parts[0]) == [0, 1]
    assert codes(score) == ["missing-divisions"]


@pytest.mark.parametrize("text", ["0", "-4", "four", ""])
def test_bad_divisions_are_left_out(read_score, note, text):
    score = read_score(
        note("A4", 4)
        + f"<attributes><divisions>{text}</divisions></attributes>"
        + note("B4", 4)
        + note("C4", 8)
    )
    assert onsets(score.parts[0]) == [0, 1, 2]
    assert codes(score) == ["bad-divisions"]


def test_backup_stops_at_the_barline(read_score, note):
    score = read_score(
        note("A4", 16), note("B4", 16) + "<backup><duration>20</duration></backup>" + note("C4", 4)
    )
    assert onsets(score.parts[0]) == [0, 4, 4]
    assert codes(score) == ["backup-before-barline"]
    assert score.notices[0].measure == "2"


def test_chord_note_without_a_first_stands_alone(read_score, note):
    score = read_score(note("A4", 16, before="<chord/>"))
    assert [each.chord for each in score.parts[0].notes] == [False]
    assert codes(score) == ["chord-without-first"]


@pytest.mark.parametrize(
    ("inside", "quarters"),
    [
        ("<type>half</type><dot/>", 3),
        ("<type>eighth</type>", Fraction(1, 2)),
        (
            (
                "<type>quarter</type><time-modification><actual-notes>3</actual-notes>"
                "<normal-notes>2</normal-notes></time-modification>"
            ),
            Fraction(2, 3),
        ),
        ("", 1),
    ],
)
def test_a_missing_duration_comes_from_the_value(read_score, note, inside, quarters):
    score = read_score(note("A4", None, inside))
    assert score.parts[0].notes[0].duration_quarters == quarters
    assert codes(score) == ["missing-duration"]


def test_measure_rest_without_duration_fills_the_measure(read_score, note):
    bar_rest = '<note><rest measure="yes"/></note>'
    score = read_score(bar_rest, note("A4", 16))
    rest, played = score.parts[0].notes
    assert rest.measure_rest
    assert rest.duration_quarters == 4
    assert played.onset_quarters == 4


def test_pickup_and_split_measures_are_as_long_as_they_are(read_part, note):
    part = read_part(note("A4", 4), note("B4", 16), note("C4", 12), note("D4", 4), note("E4", 16))
    assert [measure.onset_quarters for measure in part.measures] == [0, 1, 5, 8, 9]
    assert [measure.length_quarters for measure in part.measures] == [1, 4, 3, 1, 4]


def test_an_overfull_measure_is_kept_and_named(read_score, note):
    score = read_score(note("A4", 20), note("B4", 16))
    assert onsets(score.parts[0]) == [0, 5]
    assert codes(score) == ["measure-too-long"]
    assert score.notices[0].measure == "1"
    assert score.notices[0].part == "P1"


def test_what_is_odd_again_and_again_is_told_once_and_counted(read_score, note):
    score = read_score(note("A4", 20), note("A4", 16), note("B4", 17), note("C4", 18))
    assert codes(score) == ["measure-too-long"]
    assert score.notices[0].measure == "1"
    assert "2 more in this part" in score.notices[0].message


def test_a_measure_without_notes_has_the_length_of_its_metre(read_part, note):
    three = "<attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>"
    part = read_part(note("A4", 16), "", three, note("A4", 12))
    assert [measure.onset_quarters for measure in part.measures] == [0, 4, 8, 11]


def test_measure_numbers_are_what_is_printed(score, note):
    from skeleton.score.reading import read_bytes

    text = "".join(
        f'<measure number="{number}"{more}>{note("A4", 1)}</measure>'
        for number, more in (("0", ' implicit="yes"'), ("1", ""), ("X1", ""), ("12a", ""))
    )
    part = read_bytes(score(text), "x").parts[0]
    assert [measure.number for measure in part.measures] == ["0", "1", "X1", "12a"]
    assert [measure.implicit for measure in part.measures] == [True, False, False, False]
    assert [each.measure for each in part.notes] == [0, 1, 2, 3]


@pytest.mark.parametrize(
    ("time", "metre"),
    [
        ("<beats>4</beats><beat-type>4</beat-type>", Metre((4,), 4)),
        ("<beats>3+2</beats><beat-type>8</beat-type>", Metre((3, 2), 8)),
        (
            "<beats>2</beats><beat-type>4</beat-type><beats>3</beats><beat-type>8</beat-type>",
            Metre((4, 3), 8),
        ),
        ("<senza-misura/>", Metre((4,), 4, senza_misura=True)),
        (
            (
                "<beats>6</beats><beat-type>8</beat-type><interchangeable><beats>3</beats>"
                "<beat-type>4</beat-type></interchangeable>"
            ),
            Metre((6,), 8),
        ),
    ],
)
def test_metres(read_part, note, time, metre):
    attributes = f"<attributes><divisions>4</divisions><time>{time}</time></attributes>"
    part = read_part(note("A4", 8), attributes=attributes)
    assert part.measures[0].metre == metre


def test_sum_metre_has_its_length(read_part, note):
    time = "<time><beats>3+2</beats><beat-type>8</beat-type></time>"
    part = read_part(
        "", note("A4", 4), attributes=f"<attributes><divisions>4</divisions>{time}</attributes>"
    )
    assert part.notes[0].onset_quarters == Fraction(5, 2)


def test_an_unreadable_metre_is_left_out(read_score, note):
    score = read_score(
        note("A4", 16),
        "<attributes><time><beats>none</beats><beat-type>4</beat-type></time></attributes>"
        + note("A4", 16),
    )
    assert score.parts[0].measures[1].metre == Metre((4,), 4)
    assert codes(score) == ["bad-metre"]


def test_music_without_any_metre_has_no_measure_too_long(read_part, note):
    part = read_part(note("A4", 40), attributes="<attributes><divisions>4</divisions></attributes>")
    assert part.measures[0].metre.senza_misura
    assert part.measures[0].length_quarters == 10


def test_beats_count_from_one(read_part, note):
    part = read_part(note("A4", 4), note("A4", 4) + note("B4", 2) + note("C4", 2))
    assert [part.beat(each) for each in part.notes] == [1, 1, 2, Fraction(5, 2)]


def test_parts_have_clocks_of_their_own(score, measures, note):
    from skeleton.score.reading import read_bytes

    one = measures(note("A4", 16), note("A4", 16))
    two = one.replace("<divisions>4</divisions>", "<divisions>8</divisions>")
    found = read_bytes(score(one, two), "x")
    assert [onsets(part) for part in found.parts] == [[0, 4], [0, 2]]
