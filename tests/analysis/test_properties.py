"""What must not change an analysis, on generated music; and a plain second reading of the rule."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.analysis.analyse import analyse
from skeleton.analysis.keys import parse_key

SHARPS = "FCGDAEB"
EXAMPLES = settings(max_examples=60, deadline=None)


@dataclass(frozen=True, slots=True)
class Line:
    """Quarters in 4/4: each event a tuple of (letter, alter, octave); slurs as (first, last)."""

    events: tuple[tuple[tuple[str, int, int], ...], ...]
    slurs: tuple[tuple[int, int], ...]
    key: int = 0
    phrases: tuple[tuple[int, int], ...] = ()
    split: int = -1

    def text(self) -> str:
        """The line in the short notation of the tests, with a sign on each note off the key."""
        in_key = dict(parse_key(self.key).alters)
        words = []
        for place, event in enumerate(self.events):
            if place and place % 4 == 0:
                words.append("|")
            ends = (*self.phrases, *self.slurs)
            opens = "(" * sum(first == place for first, _ in ends)
            closes = ")" * sum(last == place for _, last in ends)
            names = [f"{s}{'#' * a}{'b' * -a}{o}" for s, a, o in event]
            signed = [
                name + "!" * (alter != in_key.get(step, 0))
                for name, (step, alter, _) in zip(names, event, strict=True)
            ]
            if place == self.split:
                words.append(opens + "+".join(f"{one}~" for one in signed) + ":1/2")
                words.append("+".join(f"~{name}" for name in names) + ":1/2" + closes)
            else:
                words.append(opens + "+".join(signed) + closes)
        return " ".join(words)


NOTES = st.tuples(st.sampled_from("CDEFGAB"), st.sampled_from((0, 0, 0, 1, -1)), st.integers(4, 5))
EVENTS = st.lists(NOTES, min_size=1, max_size=2, unique_by=lambda note: (note[0], note[2]))


@st.composite
def lines(draw, keys=(0,)):
    events = draw(st.lists(EVENTS.map(tuple), min_size=2, max_size=16))
    slurs, place = [], 0
    for length in draw(st.lists(st.integers(1, 4), max_size=8)):
        if length > 1 and place + length <= len(events):
            slurs.append((place, place + length - 1))
        place += length
    return Line(tuple(events), tuple(slurs), draw(st.sampled_from(keys)))


def summary(analysis, part=0):
    """What an analysis says, without ids."""
    found = analysis.parts[part]

    def note(place):
        return place.onset_quarters, str(place.pitch)

    def anchor(one):
        return one and (note(one.place), one.interval)

    places = {n.place.id: note(n.place) for n in found.accidentals}
    return (
        [(note(n.place), n.reasons, n.open_string, n.slur_notes) for n in found.skeleton],
        [
            (note(n.place), n.structural, n.open_string, anchor(n.anchor), anchor(n.runner_up))
            for n in found.accidentals
        ],
        [
            (g.label, g.pitch_class, g.octaves, [places[one] for one in g.notes])
            for g in found.matches
        ],
        [(p.name, p.first_index, p.last_index) for p in analysis.passages],
        analysis.rule_fit,
    )


@EXAMPLES
@given(line=lines(), key=st.integers(-7, 7))
def test_a_signature_moved_into_signs_changes_no_skeleton_and_no_anchor(music, line, key):
    given_key = analyse(music(replace(line, key=key).text(), key=key)).parts[0]
    moved = analyse(music(line.text(), key=0)).parts[0]
    assert given_key.skeleton == moved.skeleton
    theirs = {n.place: (n.anchor, n.runner_up) for n in moved.accidentals}
    both = [n for n in given_key.accidentals if n.place in theirs]
    assert [(n.anchor, n.runner_up) for n in both] == [theirs[n.place] for n in both]


@EXAMPLES
@given(line=lines(), key=st.integers(-7, 7))
def test_an_assumed_key_reads_like_a_given_one(music, line, key):
    text = replace(line, key=key).text()
    assert summary(analyse(music(text, key=key))) == summary(
        analyse(music(text, key=0), key=parse_key(key))
    )


@EXAMPLES
@given(line=lines((-3, -2, -1, 0, 1, 2, 3)))
def test_an_octave_up_changes_octaves_only(music, line):
    up = replace(
        line, events=tuple(tuple((s, a, o + 1) for s, a, o in event) for event in line.events)
    )
    low = analyse(music(line.text(), key=line.key)).parts[0]
    high = analyse(music(up.text(), key=line.key)).parts[0]
    assert [n.place.id for n in low.skeleton] == [n.place.id for n in high.skeleton]
    assert [
        (n.place.id, n.anchor and (n.anchor.place.id, n.anchor.interval)) for n in low.accidentals
    ] == [
        (n.place.id, n.anchor and (n.anchor.place.id, n.anchor.interval)) for n in high.accidentals
    ]
    assert [(g.label, g.pitch_class, g.notes, g.leans) for g in low.matches] == [
        (g.label, g.pitch_class, g.notes, g.leans) for g in high.matches
    ]
    assert [tuple(o + 1 for o in g.octaves) for g in low.matches] == [
        g.octaves for g in high.matches
    ]


@EXAMPLES
@given(line=lines(), data=st.data())
def test_a_phrase_slur_over_bow_slurs_changes_nothing(music, line, data):
    if not line.slurs:
        return
    inner = data.draw(st.sampled_from(line.slurs))
    first = data.draw(st.integers(0, inner[0]))
    last = data.draw(st.integers(inner[1], len(line.events) - 1))
    # A phrase that begins or ends inside another bow slur would cross it.
    if any(a < first <= b or a <= last < b for a, b in line.slurs):
        return
    phrased = replace(line, phrases=((first, last),))
    before, after = analyse(music(line.text())), analyse(music(phrased.text()))
    assert summary(before)[:3] == summary(after)[:3]
    assert before.rule_fit == after.rule_fit


@EXAMPLES
@given(line=lines(), data=st.data())
def test_a_note_split_by_a_tie_changes_nothing(music, line, data):
    split = replace(line, split=data.draw(st.integers(0, len(line.events) - 1)))
    assert summary(analyse(music(line.text()))) == summary(analyse(music(split.text())))


@EXAMPLES
@given(first=lines(), second=lines())
def test_the_order_of_parts_does_not_matter(music, first, second):
    bars = max(len(first.events), len(second.events)) // 4 + 1
    parts = [
        music.part(line.text() + " |" * (bars - (len(line.events) - 1) // 4), name=name)
        for line, name in ((first, "Violin"), (second, "Viola"))
    ]
    forward, backward = analyse(music.score(*parts)), analyse(music.score(*parts, order=(1, 0)))
    assert [p.part for p in backward.parts] == ["P2", "P1"]
    assert forward.parts == backward.parts[::-1]
    assert forward.passages == backward.passages
    assert forward.rule_fit == backward.rule_fit


def size_cents(interval) -> float:
    """Pythagorean size: a fifth is four letters and seven half steps, an octave seven and twelve.

    Solved by hand: interval = f fifths + o octaves, f = 7 semitones - 12 steps.
    """
    fifths = 7 * interval.semitones - 12 * interval.steps
    octaves = (interval.steps - 4 * fifths) / 7
    return abs(fifths * 1200 * math.log2(1.5) + octaves * 1200)


@EXAMPLES
@given(line=lines(), rule=st.sampled_from(("second", "first", "last", "on-beat")))
def test_the_anchor_rule_read_plainly(music, line, rule):
    score = music(line.text())
    part = analyse(score, rule=rule).parts[0]
    number = {note.id: place for place, note in enumerate(score.parts[0].notes)}
    slurs = [
        {one for event in slur.events for one in event}
        for slur in score.parts[0].slurs
        if len(slur.events) > 1
    ]
    for note in part.accidentals:
        here = note.place

        def rank(other, here=here):
            distance = abs(other.onset_quarters - here.onset_quarters)
            together = any({here.id, other.id} <= slur for slur in slurs)
            from skeleton.theory.interval import between

            size = size_cents(between(other.pitch, here.pitch))
            return distance, not together, round(size, 6), -number[other.id]

        others = sorted((one.place for one in part.skeleton if one.place.id != here.id), key=rank)
        if not others:
            assert note.anchor is None
            continue
        assert note.anchor is not None
        assert note.anchor.place == others[0]
        tied = [one for one in others if rank(one)[0] == rank(others[0])[0]]
        assert (note.runner_up and note.runner_up.place) == (tied[1] if len(tied) > 1 else None)


@pytest.mark.parametrize("text", ["(F#4! G4) C5 F#5!", "C5 F#4!+A4 (G4 F4)"])
def test_the_same_bytes_give_the_same_ids(music, text):
    plain = music.document(music.part(text))
    without = plain.replace(b' id="n', b' data="n')
    from skeleton.score.reading import read_bytes

    first, second = (analyse(read_bytes(without, "ids")) for _ in range(2))
    assert first.parts == second.parts
    assert len({n.place.id for n in first.parts[0].skeleton}) == len(first.parts[0].skeleton)
