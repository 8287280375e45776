"""When the sounds of a practice track begin and end, for any passage."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from skeleton.audio.sounds import CLICK_S
from skeleton.errors import OptionError
from skeleton.export.tracks.excerpt import Bar, Excerpt, Heard
from skeleton.export.tracks.schedule import GRACE_S, ladder, schedule

CLOSE_S = 1e-9
LINE = ("P1", 1, "1")


def passage(notes, bars=2, beats=2, *, pickup=0):
    """A passage in quarters from (name, start, end[, grace]) in bars of so many quarters."""
    ends = [Fraction(pickup + beats * n) for n in range(0 if pickup else 1, bars + 1)]
    starts = [Fraction(0), *ends[:-1]]
    made = tuple(
        Bar(start, end, tuple(start + n for n in range(int(end - start))))
        for start, end in zip(starts, ends, strict=True)
    )
    lead = Fraction(2 * beats - pickup if pickup else beats)
    count = tuple(n - lead for n in range(2 * beats) if n < lead)
    heard = tuple(
        Heard(name, "P1", LINE, Fraction(start), Fraction(end), *grace)
        for name, start, end, *grace in notes
    )
    return Excerpt(heard, made, Fraction(1), count[0], count, bool(pickup))


def played(made, kind="note"):
    return [event for event in made.events if event.kind == kind]


@st.composite
def passages(draw):
    bars = draw(st.integers(1, 5))
    beats = draw(st.integers(1, 4))
    pickup = draw(st.sampled_from([0, 0, Fraction(1, 2), 1])) if beats > 1 else 0
    length = bars * beats + pickup
    times = st.integers(0, int(length * 12)).map(lambda n: Fraction(n, 12))
    notes = []
    for number in range(draw(st.integers(1, 10))):
        start, end = sorted((draw(times), draw(times)))
        assume(start < end)
        notes.append((f"n{number}", start, end))
    return passage(notes, bars, beats, pickup=pickup)


def tuned(music):
    return {note.note: 200.0 + 10 * n for n, note in enumerate(music.notes)}


TEMPOS = st.lists(st.sampled_from([30.0, 40.0, 52.5, 72.0, 120.0]), min_size=1, max_size=3)


@settings(deadline=None)
@given(music=passages(), tempos=TEMPOS, times=st.integers(1, 3), echo=st.integers(0, 3))
def test_rounds_follow_each_other_and_hold_all_notes(music, tempos, times, echo):
    made = schedule(music, tuned(music), tempos, times=times, echo_bars=echo, drone_hz=[220.0])
    assert [one.tempo for one in made.rounds] == [t for t in tempos for _ in range(times)]
    assert made.rounds[0].start_s == 0
    for one, following in pairwise(made.rounds):
        assert one.end_s == following.start_s
    per_round = len(music.notes)
    assert len(played(made)) == per_round * len(made.rounds)
    for one in made.rounds:
        quarter_s = 60 / one.tempo
        assert one.music_s - one.start_s == pytest.approx(-music.lead_in * quarter_s)
        length = float(music.length) * (2 if echo else 1)
        assert one.end_s - one.music_s == pytest.approx(length * quarter_s)
        own = [e for e in played(made) if one.start_s <= e.start_s < one.end_s - CLOSE_S]
        assert {e.note for e in own} == {note.note for note in music.notes}
        for event in own:
            note = next(n for n in music.notes if n.note == event.note)
            assert event.hz == tuned(music)[event.note]
            assert one.music_s - CLOSE_S <= event.start_s < event.end_s <= one.end_s + CLOSE_S
            assert event.end_s - event.start_s == pytest.approx(
                float(note.end - note.start) * quarter_s
            )
            if not echo:
                # Rests kept, nothing moved: each note stands where the page has it.
                assert event.start_s - one.music_s == pytest.approx(float(note.start) * quarter_s)
    starts = [event.start_s for event in made.events]
    assert starts == sorted(starts)


@settings(deadline=None)
@given(music=passages(), echo=st.integers(1, 3))
def test_each_piece_is_answered_by_as_long_a_silence(music, echo):
    made = schedule(music, tuned(music), [60.0], echo_bars=echo)
    notes = played(made)
    lead_s = float(-music.lead_in)
    by_name = {note.note: note for note in music.notes}
    # A second is a quarter here. What stands before a piece was played and answered, so the piece
    # stands as much later on the track as it stands after the start on the page.
    later = {e.note: round(e.start_s - lead_s - float(by_name[e.note].start), 9) for e in notes}
    assert set(later.values()) <= {float(bar.start) for bar in music.bars}
    for note in music.notes:
        assert later[note.note] <= note.start
        following = [shift for shift in later.values() if shift > later[note.note]]
        assert all(note.end <= shift for shift in following)
    gaps = [click for click in played(made, "click") if click.start_s >= lead_s - CLOSE_S]
    assert len(gaps) == sum(len(bar.beats) for bar in music.bars)
    for click in gaps:
        assert not any(e.start_s - CLOSE_S <= click.start_s < e.end_s - CLOSE_S for e in notes)


@given(music=passages(), factor=st.sampled_from([2.0, 1.5, 3.0]))
def test_a_faster_tempo_shortens_everything_alike(music, factor):
    slow = schedule(music, tuned(music), [40.0])
    fast = schedule(music, tuned(music), [40.0 * factor])
    for one, other in zip(played(slow), played(fast), strict=True):
        assert other.start_s * factor == pytest.approx(one.start_s)
        assert other.end_s * factor == pytest.approx(one.end_s)


def test_a_piece_grows_where_a_note_sounds_over_its_end():
    music = passage([("a", 0, 1), ("b", 1, 3), ("c", 3, 4), ("d", 4, 6)], bars=3)
    made = schedule(music, tuned(music), [60.0], echo_bars=1)
    starts = {event.note: event.start_s - 2 for event in played(made)}
    assert starts == pytest.approx({"a": 0, "b": 1, "c": 3, "d": 8})


def test_a_pickup_is_answered_with_its_bar():
    music = passage([("a", 0, 1), ("b", 1, 3), ("c", 3, 5)], bars=2, pickup=1)
    made = schedule(music, tuned(music), [60.0], echo_bars=1)
    lead_s = float(-music.lead_in)
    starts = {event.note: event.start_s - lead_s for event in played(made)}
    assert starts == pytest.approx({"a": 0, "b": 1, "c": 6})


def test_the_drone_sounds_from_first_to_last_and_under_the_notes():
    made = schedule(
        passage([("a", 0, 2)]), {"a": 440.0}, [40.0, 60.0], times=2, drone_hz=[220.0, 330.0]
    )
    drones = played(made, "drone")
    assert [(one.start_s, one.end_s) for one in drones] == [(0.0, made.end_s)] * 2
    power = sum(10 ** (one.level_dbfs / 10) for one in drones)
    assert power < 0.1 * 10 ** (played(made)[0].level_dbfs / 10)


def test_a_chord_is_no_louder_than_a_note():
    made = schedule(
        passage([("a", 0, 1), ("b", 0, 1), ("c", 1, 2)]), dict.fromkeys("abc", 440.0), [60.0]
    )
    power = {one.note: 10 ** (one.level_dbfs / 10) for one in played(made)}
    assert power["a"] + power["b"] == pytest.approx(power["c"])


def test_the_count_in_is_clicks_the_first_one_louder():
    made = schedule(passage([("a", 0, 2)], beats=3), {"a": 440.0}, [60.0])
    clicks = played(made, "click")
    assert [(one.start_s, one.end_s) for one in clicks] == [
        (time, time + CLICK_S) for time in (0.0, 1.0, 2.0)
    ]
    assert clicks[0].level_dbfs > clicks[1].level_dbfs == clicks[2].level_dbfs
    assert all(one.hz is None for one in clicks)


@pytest.mark.parametrize("tempo", [40.0, 120.0, 400.0])
def test_grace_notes_take_their_time_from_the_note_before(tempo):
    music = passage([("a", 0, 1), ("g1", 1, 1, 2), ("g2", 1, 1, 1), ("b", 1, 2)])
    made = schedule(music, tuned(music), [tempo])
    at = {one.note: (one.start_s, one.end_s) for one in played(made)}
    assert at["g2"][1] == pytest.approx(at["b"][0])
    assert at["g1"][1] == pytest.approx(at["g2"][0])
    assert at["a"][1] == pytest.approx(at["g1"][0])
    assert at["g1"][1] - at["g1"][0] <= GRACE_S + CLOSE_S
    assert at["a"][1] - at["a"][0] >= 0.5 * 60 / tempo - CLOSE_S
    # The note itself stays where it was.
    assert at["b"][0] - made.rounds[0].music_s == pytest.approx(60 / tempo)


def test_a_grace_note_before_the_first_note_sounds_in_the_count_in():
    music = passage([("g", 0, 0, 1), ("a", 0, 2)])
    made = schedule(music, tuned(music), [60.0])
    at = {one.note: one.start_s for one in played(made)}
    assert at == pytest.approx({"g": 2 - GRACE_S, "a": 2.0})


@pytest.mark.parametrize(
    ("given_tempos", "expected"),
    [
        ((40, 72, 4), (40, 44, 48, 52, 56, 60, 64, 68, 72)),
        ((40, 50, 4), (40, 44, 48, 50)),
        ((60, 60, 5), (60,)),
        ((60, 40, 10), (60, 50, 40)),
        ((40, 41, 0.5), (40, 40.5, 41)),
    ],
)
def test_a_ladder_always_ends_on_its_last_tempo(given_tempos, expected):
    assert ladder(*given_tempos) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("given_tempos", "words"),
    [
        ((40, 72, 0), "above 0"),
        ((40, 72, -4), "above 0"),
        ((40, 72, float("nan")), "above 0"),
        ((1, 72, 4), "cannot be played"),
        ((40, 4000, 4), "cannot be played"),
        ((40, 72, 0.01), "larger --step"),
    ],
)
def test_an_odd_ladder_is_refused(given_tempos, words):
    with pytest.raises(OptionError, match=words):
        ladder(*given_tempos)


def test_a_track_beyond_two_hours_is_refused():
    music = passage([("a", 0, 2)], bars=300)
    with pytest.raises(OptionError, match="would last 150 minutes"):
        schedule(music, tuned(music), [40.0], times=10)
    with pytest.raises(OptionError, match="rounds"):
        schedule(music, tuned(music), [40.0], times=201)
    with pytest.raises(OptionError, match="rounds"):
        schedule(music, tuned(music), [40.0], times=0)
