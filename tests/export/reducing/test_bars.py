"""Bars of a reduction add up, in legal values, with every kept note in them once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import parse_lesson
from skeleton.export.reducing.bars import Item, Lane, WrittenBar, write_bars
from skeleton.export.reducing.placement import Placement, kept_ids, place
from skeleton.export.reducing.rhythm import VALUE_NAMES
from skeleton.score.model import Notice, Part
from skeleton.score.reading import read_bytes

LENGTHS = {name: length for length, name in VALUE_NAMES.items()}
ROUNDING_QUARTERS = Fraction(1, 32)
"""Half of the grid to which durations are moved that fit no grid."""

METRES = ("2/4", "3/4", "4/4", "5/4", "3/8", "6/8", "9/8", "12/8", "7/8", "3+2/8", "2/2", "5/16")
PITCHES = ("C#5", "D5", "E4", "F#4", "G4", "Bb4", "A4+C5", "G3", "E#5", "D4+F4", "C##5", "r")
RULES = ("second", "first", "last", "pairs", "on-beat")
CELLS = [
    [Fraction(part) for part in cell.split()]
    for cell in (
        "1", "1/2 1/2", "1/4 1/4 1/4 1/4", "3/4 1/4", "1/4 3/4", "1/3 1/3 1/3", "2/3 1/3",
        "1/6 1/6 1/6 1/6 1/6 1/6", "1/5 1/5 1/5 1/5 1/5", "1/7 1/7 1/7 1/7 1/7 1/7 1/7",
        "1/8 1/8 1/4 1/2", "2", "3/2 1/2", "2/3 2/3 2/3", "3", "3/2", "3/4 3/4", "1/4 1/2 1/4",
        "1/6 1/6 2/3", "1/16 3/16 3/4", "1/12 1/12 1/12 1/4 1/2",
    )
]  # fmt: skip


@st.composite
def voices(draw: st.DrawFn, metre: str, *, bars: int) -> str:
    """One voice: cells of a few notes, slurs and ties at random, in tokens of the notation."""
    beats, beat_type = metre.split("/")
    full = Fraction(4 * sum(map(int, beats.split("+"))), int(beat_type))
    tokens: list[str] = []
    opened: set[str] = set()
    for _ in range(bars):
        left = full
        while left > 0:
            cell = draw(st.sampled_from(CELLS))
            if sum(cell) > left:
                cell = [left] if left.denominator in {1, 2, 4, 8} else [Fraction(left)]
            for length in cell:
                pitch = draw(st.sampled_from(PITCHES))
                tie = "~" if pitch != "r" and draw(st.integers(0, 5)) == 0 else ""
                ends = ""
                for number in "12":
                    if number in opened and draw(st.booleans()):
                        opened.discard(number)
                        ends += f"){number}"
                    if number not in opened and draw(st.integers(0, 3)) == 0:
                        opened.add(number)
                        ends += f"({number}"
                grace = "g:F#5 " if draw(st.integers(0, 12)) == 0 else ""
                tokens.append(f"{grace}{pitch}:{length}{tie}{ends}")
            left -= sum(cell)
        tokens.append("|")
    return " ".join(tokens[:-1])


@st.composite
def etudes(draw: st.DrawFn) -> tuple[tuple[str, ...], str]:
    metre = draw(st.sampled_from(METRES))
    bars = draw(st.integers(1, 3))
    count = draw(st.integers(1, 2))
    return tuple(draw(voices(metre, bars=bars)) for _ in range(count)), metre


Reduced = tuple[Part, tuple[Placement, ...], tuple[WrittenBar, ...], tuple[Notice, ...], set[str]]


def reduced(
    data: bytes, rule: str = "second", *, accidentals: bool = False, keep: bool = False
) -> Reduced | None:
    score = read_bytes(data, "etude.musicxml")
    if not score.parts:
        return None
    found = analyse(score, parse_lesson(f'rule = "{rule}"'))
    part = score.parts[0]
    placements = place(
        part,
        found.parts[0],
        found.passages,
        found.rule,
        keep_open_strings=keep,
        accidentals=accidentals,
    )
    kept = kept_ids(found.parts[0], found.passages, keep_open_strings=keep)
    if accidentals:
        kept |= {note.place.id for note in found.parts[0].accidentals}
    return part, placements, *write_bars(part, placements), kept


def lanes(bars: tuple[WrittenBar, ...]) -> Iterator[tuple[WrittenBar, Lane]]:
    for bar in bars:
        for lane in bar.lanes:
            yield bar, lane


def duration(item: Item) -> Fraction:
    """What its written value, dots and tuplet make of it, in quarters."""
    assert item.value is not None
    plain = LENGTHS[item.value.name] * (Fraction(3, 2) if item.value.dots else 1)
    return plain * Fraction(item.tuplet.normal, item.tuplet.actual) if item.tuplet else plain


def check_sums_and_values(part: Part, bars: tuple[WrittenBar, ...]) -> None:
    assert [bar.index for bar in bars] == [measure.index for measure in part.measures]
    for bar, lane in lanes(bars):
        length = Fraction(bar.length, bar.unit)
        assert abs(length - part.measures[bar.index].length_quarters) <= ROUNDING_QUARTERS
        time = 0
        for item in lane.items:
            assert item.start == time
            assert item.end > item.start
            if item.value is None:
                assert not item.notes
                assert item.end - item.start == bar.length
            else:
                assert duration(item) == Fraction(item.end - item.start, bar.unit)
                assert item.value.dots <= 1
            time = item.end
        assert time == bar.length or not lane.items


def check_tuplets_and_beams(bars: tuple[WrittenBar, ...]) -> None:
    for _bar, lane in lanes(bars):
        open_tuplet = False
        levels: set[int] = set()
        for item in lane.items:
            if item.tuplet_start:
                assert not open_tuplet
                open_tuplet = True
            assert open_tuplet == (item.tuplet is not None)
            if item.tuplet_stop:
                open_tuplet = False
            if item.hidden or item.small:
                assert not item.beams
                continue
            for level, word in enumerate(item.beams, start=1):
                if word == "begin":
                    assert level not in levels
                    levels.add(level)
                elif word in {"continue", "end"}:
                    assert level in levels
                    levels -= {level} if word == "end" else set()
        assert not open_tuplet
        assert not levels


def check_ties(bars: tuple[WrittenBar, ...]) -> None:
    """Pieces of an event follow each other without a gap, tied; other notes are not tied."""
    onset = 0
    pieces: dict[tuple[str, ...], list[tuple[int, int, Item]]] = {}
    for bar in bars:
        for lane in bar.lanes:
            for item in lane.items:
                if item.notes:
                    pieces.setdefault(item.notes, []).append(
                        (onset + item.start, onset + item.end, item)
                    )
        onset += bar.length
    for row in pieces.values():
        assert [item.first for _, _, item in row] == [True] + [False] * (len(row) - 1)
        assert [item.tied_back for _, _, item in row] == [False] + [True] * (len(row) - 1)
        assert [item.tied_on for _, _, item in row] == [True] * (len(row) - 1) + [False]
        for (_, end, _), (start, _, _) in pairwise(row):
            assert start == end


def check_kept(found: Reduced) -> None:
    part, placements, bars, notices, kept = found
    by_id = {note.id: note for note in part.notes}
    events: dict[tuple[object, ...], set[str]] = {}
    for note in part.notes:
        if note.is_attack and not note.grace and note.duration_quarters > 0:
            events.setdefault((note.onset_quarters, note.staff, note.voice), set()).add(note.id)
    wanted = sorted(tuple(sorted(event)) for event in events.values() if event & kept)
    assert sorted(tuple(sorted(p.notes)) for p in placements) == wanted
    rows: dict[tuple[int, str], list[Placement]] = {}
    for placement in placements:
        rows.setdefault((placement.staff, placement.voice), []).append(placement)
    for row in rows.values():
        onsets = [by_id[placement.notes[0]].onset_quarters for placement in row]
        assert onsets == sorted(onsets)
        for before, after in pairwise(row):
            assert before.start < before.end <= after.start
    struck = Counter(item.notes for _bar, lane in lanes(bars) for item in lane.items if item.first)
    assert set(struck.values()) <= {1}
    if not notices:
        assert set(struck) == {placement.notes for placement in placements}
    else:
        lost = sum(int(notice.message.split()[0]) for notice in notices)
        assert len(placements) - len(struck) == lost


@given(
    etude=etudes(),
    rule=st.sampled_from(RULES),
    accidentals=st.booleans(),
    keep=st.booleans(),
    decimals=st.sampled_from([None, None, None, 3, 2]),
)
@settings(max_examples=150, deadline=None)
def test_any_etude_gives_bars_that_add_up(  # noqa: PLR0917 - hypothesis gives keywords
    write_etude: Callable[..., bytes],
    etude: tuple[tuple[str, ...], str],
    rule: str,
    accidentals: bool,
    keep: bool,
    decimals: int | None,
) -> None:
    music, metre = etude
    data = write_etude(*music, metre=metre, decimals=decimals)
    found = reduced(data, rule, accidentals=accidentals, keep=keep)
    if found is None:
        return
    part, _, bars, _, _ = found
    check_sums_and_values(part, bars)
    check_tuplets_and_beams(bars)
    check_ties(bars)
    check_kept(found)


# --- what the words of a bar are


def words(data: bytes, rule: str = "second", *, accidentals: bool = False) -> list[str]:
    """Each bar's first lane as one line: note and value, ties, tuplets."""
    found = reduced(data, rule, accidentals=accidentals)
    assert found is not None
    return [
        " ".join(
            f"{'[' * item.tuplet_start}{item.notes[0] if item.notes else 'r'}:"
            f"{item.value.name + '.' * item.value.dots if item.value else 'bar'}"
            f"{'~' * item.tied_on}{']' * item.tuplet_stop}"
            for item in bar.lanes[0].items
            if not item.hidden
        )
        for bar in found[2]
    ]


def test_slurred_pairs_read_as_even_notes(write_etude) -> None:
    data = write_etude("C#5:1/4( D5:1/4) " * 4, metre="2/4")
    assert words(data) == ["a2:eighth a4:eighth a6:eighth a8:eighth"]


def test_a_slur_over_the_barline_is_tied(write_etude) -> None:
    data = write_etude("r:1 C#5:1( | D5:1) r:1", metre="2/4")
    assert words(data) == ["r:quarter a3:quarter~", "a3:quarter r:quarter"]


def test_a_triplet_under_one_slur_is_a_plain_note(write_etude) -> None:
    data = write_etude("C#5:1/3( D5:1/3 E5:1/3) F#4:1/3( G4:1/3 A4:1/3)", metre="2/4")
    assert words(data) == ["a2:quarter a5:quarter"]


def test_a_slur_over_a_part_of_a_triplet_is_written_in_it(write_etude) -> None:
    data = write_etude("C5:1/3 C#5:1/3( D5:1/3) F#4:1/2( G4:1/2)", metre="2/4")
    assert words(data) == ["[r:eighth a3:quarter] a5:quarter"]


def test_a_pair_over_two_triplets_ties_across_the_beat(write_etude) -> None:
    data = write_etude("C5:1/3 C#5:1/3 F4:1/3( A4:1/3) C5:1/3 C#5:1/3", metre="2/4")
    (line,) = words(data)
    assert "a4:eighth~] [a4:eighth" in line


def test_bars_of_three_eighths_groups(write_etude) -> None:
    data = write_etude("C#5:1/2( D5:1/2 E5:1/2) C#5:1/4( D5:1/4) " * 1 + "r:1", metre="6/8")
    assert words(data)[0].startswith("a2:quarter. ")


def test_a_pickup_is_as_long_as_it_was(write_etude) -> None:
    found = reduced(write_etude("C#5:1/2( D5:1/2) | F#4:2( G4:2)", pickup="1"))
    assert found is not None
    assert [Fraction(bar.length, bar.unit) for bar in found[2]] == [1, 4]
    assert words(write_etude("C#5:1/2( D5:1/2) | F#4:2( G4:2)", pickup="1")) == [
        "a2:quarter", "a4:whole",
    ]  # fmt: skip


def test_an_empty_bar_is_a_whole_rest(write_etude) -> None:
    assert words(write_etude("C#5:1( D5:1) | C5:1 C5:1", metre="2/4"))[1] == "r:bar"


def test_chords_stay_whole(write_etude) -> None:
    found = reduced(write_etude("C#5+E5:1( D5+F5:1)", metre="2/4"))
    assert found is not None
    assert [item.notes for _, lane in lanes(found[2]) for item in lane.items] == [("a2", "a2.2")]


def test_voices_that_cross_have_a_lane_each(write_etude) -> None:
    data = write_etude("C#5:1( D5:1)", "F#5:1/2( G5:1/2) F#4:1/2( G4:1/2)", metre="2/4")
    found = reduced(data)
    assert found is not None
    assert [[item.notes for item in lane.items] for lane in found[2][0].lanes] == [
        [("a2",)], [("b2",), ("b4",)],
    ]  # fmt: skip


def test_two_voices_that_never_sound_together_share_a_lane(write_etude) -> None:
    data = write_etude("C#5:1/2( D5:1/2) r:1", "r:1 F#4:1/2( G4:1/2)", metre="2/4")
    found = reduced(data)
    assert found is not None
    assert [[item.notes for item in lane.items] for lane in found[2][0].lanes] == [
        [("a2",), ("b3",)],
    ]  # fmt: skip


def test_rounded_thirds_come_out_as_what_they_were_meant_for(write_etude) -> None:
    """Three times 0.333 is not 1; the note under the slur is a quarter all the same."""
    data = write_etude("C#5:1/3( D5:1/3 E5:1/3) F#4:1( G4:1) r:1", decimals=3)
    assert words(data)[0] == "a2:quarter a5:quarter~ a5:quarter r:quarter"


@pytest.mark.parametrize("metre", METRES)
def test_every_metre_takes_a_kept_note_of_its_whole_length(write_etude, metre: str) -> None:
    beats, beat_type = metre.split("/")
    half = Fraction(2 * sum(map(int, beats.split("+"))), int(beat_type))
    found = reduced(write_etude(f"C#5:{half}( D5:{half})", metre=metre))
    assert found is not None
    check_sums_and_values(found[0], found[2])
    check_ties(found[2])
    assert {item.notes for _, lane in lanes(found[2]) for item in lane.items} == {("a2",)}
