"""Passages: the stretches practised as one, by the lesson file or by rule.

All parts of a score share their measures, and so their passages. Without a lesson the rule is:

**Hard cuts** stand wherever the page divides the music, also where a slur or tie crosses: at
double, final and repeat barlines, after an ending's end, before a rehearsal mark, and where the
key or the metre changes at a barline (a signature that is only restated changes nothing).

**Soft cuts** stand after the measure of a fermata, and at a rest of a beat or more in which all
analysed parts are silent: at the last barline inside the rest, or else at the one nearest to it
(of two equally near the later). A rest before the first or after the last note divides nothing.
A soft cut never leaves a passage shorter than two measures and never cuts through a slur or tie;
where it would, it is left out.

**Long stretches.** While more than eight measures are left uncut, they are cut near the fourth
barline: at the nearest one (of two equally near the later) that no slur and no tie crosses and
that leaves two measures on either side. Once cutting has begun it goes on while more than six
measures are left, so that no short end remains.

A **pickup** is no passage: a cut right after it is left out, and it is not counted as a measure
in these lengths.

**Names** are A, B ... Z, AA. Where the score has rehearsal marks, a passage that begins at one
takes its text, those that follow add a number ("B-2"), and those before the first mark are
"Opening", "Opening-2". No two passages share a name: a mark used twice is numbered on.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from typing import Final

from skeleton.analysis.beats import beat_length_quarters, is_pickup
from skeleton.analysis.results import Passage
from skeleton.analysis.timeline import Timeline
from skeleton.score.model import Barline, Measure, Part

LONGEST_MEASURES: Final = 8
"""A stretch longer than this is cut further."""

PIECE_MEASURES: Final = 4
"""Where a long stretch is cut: near every so many measures."""

SHORTEST_MEASURES: Final = 2
"""What a soft cut leaves on either side at least."""

_DIVIDING_STYLES: Final = frozenset({"light-light", "light-heavy", "heavy-light", "heavy-heavy"})

_OPENING: Final = "Opening"


def passages_by_rule(parts: Sequence[Part], timelines: Sequence[Timeline]) -> tuple[Passage, ...]:
    """Return the passages of a score by rule, in score order; they cover every measure once.

    Args:
        parts: all parts of the score, for what its barlines, marks and signatures say.
        timelines: the parts that are analysed, all in the same ticks: for their rests,
            fermatas, slurs and ties.
    """
    measures = max((part.measures for part in parts), key=len, default=())
    if not measures:
        return ()
    count = len(measures)
    start = 1 if is_pickup(measures[0]) else 0
    hard = sorted(
        {cut for part in parts for cut in _hard_cuts(part) if start < cut < count} | {count}
    )
    joined = _joined(timelines)
    soft = sorted(_soft_cuts(measures, timelines) - joined)
    cuts: list[int] = []
    begin = start
    for end in hard:
        for cut in soft:
            if begin + SHORTEST_MEASURES <= cut <= end - SHORTEST_MEASURES:
                cuts.extend(_pieces(begin, cut, joined))
                cuts.append(cut)
                begin = cut
        cuts.extend(_pieces(begin, end, joined))
        cuts.append(end)
        begin = end
    firsts = [0, *cuts[:-1]]
    marks = [_mark(parts, first) for first in firsts]
    marks[0] = marks[0] or _mark(parts, start)
    names = _names(marks)
    return tuple(
        Passage(name, first, cut - 1, measures[first].number, measures[cut - 1].number)
        for name, first, cut in zip(names, firsts, cuts, strict=True)
    )


def _hard_cuts(part: Part) -> set[int]:
    """The measures before which this part's page divides the music."""
    cuts: set[int] = set()
    for previous, measure in zip(part.measures, part.measures[1:], strict=False):
        right, left = previous.right, measure.left
        if (
            _divides(right)
            or _divides(left)
            or (right is not None and right.ending is not None and right.ending.type != "start")
            or measure.rehearsal
            or measure.metre != previous.metre
        ):
            cuts.add(measure.index)
    in_force: dict[int | None, tuple[object, ...]] = {None: ()}
    onsets = {measure.onset_quarters: measure.index for measure in part.measures}
    for change in part.keys:
        alters = tuple(sorted(change.key.alters))
        if change.staff is None:
            differs = any(alters != before for before in in_force.values())
            in_force = {None: alters}
        else:
            differs = alters != in_force.get(change.staff, in_force[None])
            in_force[change.staff] = alters
        if differs and change.onset_quarters in onsets:
            cuts.add(onsets[change.onset_quarters])
    return cuts


def _divides(barline: Barline | None) -> bool:
    return barline is not None and (barline.style in _DIVIDING_STYLES or barline.repeat is not None)


def _joined(timelines: Iterable[Timeline]) -> set[int]:
    """The measures before whose barline no soft cut may stand: a slur or tie crosses it."""
    joined: set[int] = set()
    for timeline in timelines:
        measure_of = {note.id: note.measure for note in timeline.part.notes}
        for note in timeline.pitched:
            if note.tied_from is not None:
                origin = measure_of.get(note.tied_from, note.measure)
                joined.update(range(origin + 1, note.measure + 1))
        for slur in timeline.part.slurs:
            ends = [slur.stop, *slur.events[-1]] if slur.events else [slur.stop]
            last = max(measure_of.get(one, 0) for one in ends)
            joined.update(range(measure_of.get(slur.start, last) + 1, last + 1))
    return joined


def _soft_cuts(measures: Sequence[Measure], timelines: Sequence[Timeline]) -> set[int]:
    cuts: set[int] = set()
    for timeline in timelines:
        cuts.update(note.measure + 1 for note in timeline.part.notes if note.fermata)
        cuts.update(
            measure.index + 1
            for measure in timeline.part.measures
            if measure.right is not None and measure.right.fermata
        )
    if timelines:
        barlines = [timelines[0].to_ticks(measure.onset_quarters) for measure in measures]
        for begin, end in _silences(timelines):
            metre = measures[bisect_right(barlines, begin) - 1].metre
            if end - begin >= beat_length_quarters(metre) * timelines[0].ticks_per_quarter:
                cuts.add(_nearest_barline(barlines, begin, end))
    return cuts


def _silences(timelines: Iterable[Timeline]) -> list[tuple[int, int]]:
    """The stretches in ticks, between the first and the last note, in which no part sounds."""
    sounding: list[tuple[int, int]] = []
    for timeline in timelines:
        to_ticks = timeline.to_ticks
        begin, end = 0, -1
        for note in timeline.part.notes:
            if note.duration_quarters and note.sounds:
                onset = to_ticks(note.onset_quarters)
                if not begin <= onset <= end:
                    if end >= 0:
                        sounding.append((begin, end))
                    begin = end = onset
                end = max(end, onset + to_ticks(note.duration_quarters))
        if end >= 0:
            sounding.append((begin, end))
    sounding.sort()
    silences: list[tuple[int, int]] = []
    sounds_until = sounding[0][1] if sounding else 0
    for begin, end in sounding:
        if begin > sounds_until:
            silences.append((sounds_until, begin))
        sounds_until = max(sounds_until, end)
    return silences


def _nearest_barline(barlines: Sequence[int], begin: int, end: int) -> int:
    """The measure at whose barline a rest is cut."""
    after = bisect_right(barlines, end)
    # The barline before may lie inside the rest; its distance is then below zero, and it wins.
    if after == len(barlines) or barlines[after] - end > begin - barlines[after - 1]:
        return after - 1
    return after


def _pieces(begin: int, end: int, joined: set[int]) -> list[int]:
    """The cuts inside a stretch that is too long."""
    first, last = begin + SHORTEST_MEASURES, end - SHORTEST_MEASURES
    free = [cut for cut in range(first, last + 1) if cut not in joined]
    cuts: list[int] = []
    longest = LONGEST_MEASURES
    while end - begin > longest:
        target = begin + PIECE_MEASURES
        lowest = bisect_left(free, begin + SHORTEST_MEASURES)
        # `free` rises, so that the nearest are at hand on both sides of the target.
        place = bisect_left(free, target, lowest)
        near = free[max(place - 1, lowest) : place + 1]
        if not near:
            break
        begin = min(near, key=lambda cut: (abs(cut - target), -cut))
        cuts.append(begin)
        longest = PIECE_MEASURES + SHORTEST_MEASURES
    return cuts


def _mark(parts: Iterable[Part], measure: int) -> str | None:
    """The rehearsal mark at a measure, from the first part that has one there."""
    for part in parts:
        if measure < len(part.measures):
            for text in part.measures[measure].rehearsal:
                if text.strip():
                    return " ".join(text.split())
    return None


def _names(marks: Sequence[str | None]) -> list[str]:
    """Name passages that begin at these marks, None standing for no mark."""
    if not any(marks):
        return [_letters(place) for place in range(len(marks))]
    reserved = {mark for mark in marks if mark}
    given: set[str] = set()
    names: list[str] = []
    current = _OPENING
    for mark in marks:
        current = mark or current
        name, number = current, 1
        while name in given or (name in reserved and name != mark):
            number += 1
            name = f"{current}-{number}"
        given.add(name)
        names.append(name)
    return names


def _letters(place: int) -> str:
    """A, B ... Z, AA, AB: the name at a place counted from 0."""
    name = ""
    place += 1
    while place:
        place, letter = divmod(place - 1, 26)
        name = chr(ord("A") + letter) + name
    return name
