"""Properties of slur pairing, over random slurs in random voices in any legal order of the file.

The expected pairs and events come from how the slurs were made, by plain search, not from the
reader's own ways.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.score.notes import RawNote
from skeleton.score.reading import read_bytes
from skeleton.score.slurs import SlurEnd, pair

MEASURES, BEATS = 3, 4
LENGTH = MEASURES * BEATS


@dataclass(frozen=True, slots=True)
class Planned:
    """A slur from a place in a voice to a place in a voice, with a number."""

    first: tuple[int, int]
    last: tuple[int, int]
    number: int


@st.composite
def plans(draw):
    """Voices of quarter notes, with well-formed slurs: one number never open twice in a voice."""
    voices = draw(st.integers(1, 3))
    slurs = []
    for voice in range(voices):
        spans = draw(
            st.sets(
                st.tuples(st.integers(0, LENGTH - 1), st.integers(0, LENGTH - 1)).filter(
                    lambda span: span[0] < span[1]
                ),
                max_size=5,
            )
        )
        open_until: dict[int, int] = {}
        for first, last in sorted(spans):
            number = next(n for n in range(1, 20) if open_until.get(n, 0) <= first)
            open_until[number] = last
            slurs.append(Planned((voice, first), (voice, last), number))
    if voices > 1:
        crossing = draw(
            st.lists(
                st.tuples(
                    st.integers(0, LENGTH - 2), st.integers(1, 4), st.permutations(range(voices))
                ),
                max_size=2,
            )
        )
        for number, (first, length, order) in enumerate(crossing, start=20):
            last = min(first + length, LENGTH - 1)
            ends = (order[0], first), (order[1], last)
            if all((each.first, each.last) != ends for each in slurs):  # twice the same is one
                slurs.append(Planned(*ends, number))
    orders = [draw(st.permutations(range(voices))) for _ in range(MEASURES)]
    backwards = draw(st.booleans())
    return voices, slurs, orders, backwards


def written(plan, note, measures, score):
    """Write the plan: in each measure the voices in some order, each after a <backup>."""
    _, slurs, orders, backwards = plan
    marks: dict[tuple[int, int], list[str]] = {}
    for slur in slurs:
        marks.setdefault(slur.first, []).append(f"start {slur.number}")
        marks.setdefault(slur.last, []).append(f"stop {slur.number}")
    texts = []
    for measure, order in enumerate(orders):
        lines = []
        for voice in order:
            line = ""
            for beat in range(BEATS):
                place = measure * BEATS + beat
                here = marks.get((voice, place), [])
                line += note(
                    "CDEFGAB"[place % 7] + str(3 + voice),
                    4,
                    voice=str(voice + 1),
                    slur=",".join(reversed(here) if backwards else here),
                    attributes=f' id="v{voice}p{place}"',
                )
            lines.append(line)
        texts.append("<backup><duration>16</duration></backup>".join(lines))
    return score(measures(*texts))


def name(place):
    return f"v{place[0]}p{place[1]}"


@given(plan=plans())
@settings(max_examples=150, deadline=None)
def test_well_formed_slurs_come_back_exactly(plan, note, measures, score):
    found = read_bytes(written(plan, note, measures, score), "x")
    assert found.notices == ()
    slurs = found.parts[0].slurs
    voices, planned, _, _ = plan
    assert voices == len({each.voice for each in found.parts[0].notes})
    assert Counter((slur.start, slur.stop, slur.number) for slur in slurs) == Counter(
        (name(each.first), name(each.last), str(each.number)) for each in planned
    )
    expected = {
        (name(each.first), name(each.last)): [
            {f"v{voice}p{place}" for voice in {each.first[0], each.last[0]}}
            for place in range(each.first[1], each.last[1] + 1)
        ]
        for each in planned
    }
    for slur in slurs:
        assert [set(event) for event in slur.events] == expected[slur.start, slur.stop]
        assert slur.onset_quarters == int(slur.start.split("p")[1])
        assert slur.end_quarters == int(slur.stop.split("p")[1]) + 1


@given(plan=plans())
@settings(max_examples=50, deadline=None)
def test_the_order_of_voices_in_the_file_does_not_matter(plan, note, measures, score):
    voices, slurs, _, backwards = plan
    straight = (voices, slurs, [list(range(voices))] * MEASURES, not backwards)
    one = read_bytes(written(plan, note, measures, score), "x").parts[0]
    other = read_bytes(written(straight, note, measures, score), "x").parts[0]

    def essence(part):
        return {
            (slur.start, slur.stop, tuple(frozenset(event) for event in slur.events))
            for slur in part.slurs
        }

    assert essence(one) == essence(other)


ends = st.lists(
    st.tuples(
        st.integers(0, 6),  # onset
        st.sampled_from("12"),  # voice
        st.integers(1, 2),  # staff
        st.sampled_from("12"),  # number
        st.booleans(),  # start or stop
        st.booleans(),  # grace
        st.booleans(),  # in one chord with the end before
    ),
    max_size=14,
)


def make_ends(rows):
    made = []
    for order, (onset, voice, staff, number, is_start, grace, chord) in enumerate(rows):
        note = RawNote()
        note.onset, note.voice, note.staff, note.grace = onset, voice, staff, grace
        note.index = note.lead = order
        if chord and made:
            before = made[-1].note
            note.onset, note.voice, note.grace = before.onset, before.voice, before.grace
            note.staff, note.lead = before.staff, before.lead
        made.append(SlurEnd(note, number, order, is_start))
    return made


@given(rows=ends)
@settings(max_examples=400, deadline=None)
def test_every_end_is_paired_or_named_or_a_chord_partner(rows):
    made = make_ends(rows)
    pairs, complaints = pair(made)
    used = [start.order for start, _ in pairs] + [stop.order for _, stop in pairs]
    assert len(used) == len(set(used)), "an end was used twice"
    for start, stop in pairs:
        assert start.is_start
        assert not stop.is_start
        assert start.number == stop.number
        assert start.note.onset <= stop.note.onset
    named = {each.end.order for each in complaints}
    assert len(named) == len(complaints), "an end was named twice"
    assert not named & set(used), "an end was paired and named"

    def place(end):
        return end.note.lead, end.number, end.is_start

    accounted = {place(made[order]) for order in [*used, *named]}
    within = {
        (each.end.note.onset, each.end.number)
        for each in complaints
        if each.code == "slur-within-one-event"
    }
    for end in made:
        if end.order not in named and end.order not in used:
            twin = place(end) in accounted
            half = not end.is_start and (end.note.onset, end.number) in within
            assert twin or half, "an end was lost without a word"


@given(rows=ends)
@settings(max_examples=100, deadline=None)
def test_pairs_never_need_time_to_run_backwards_and_are_stable(rows):
    first, second = pair(make_ends(rows)), pair(make_ends(rows))
    assert [(a.order, b.order) for a, b in first[0]] == [(a.order, b.order) for a, b in second[0]]
    assert [each.code for each in first[1]] == [each.code for each in second[1]]
    onsets = [start.note.onset for start, _ in first[0]]
    assert onsets == sorted(onsets)
    assert all(isinstance(onset, (int, Fraction)) for onset in onsets)
