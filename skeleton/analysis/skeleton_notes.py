"""Which notes of a part are structural, and why.

The rule's notes and the open-string notes together make the skeleton; the lesson file adds and
takes away. Each note keeps its reasons.

Slurs
-----
* Of nested slurs only the innermost counts: a slur that holds all events of another one, and
  more, is phrasing. Slurs over the same events count once. Slurs of fewer than two events are
  no slurs here: they give nothing, and make no phrasing of the slur around them.
* An event held, by a tie, into the slur is its first; the rule ``first`` then takes the attack.
* A chord is one event: all its attacks by the rule are structural. A name belongs to a note: of
  a chord with one member named like an open string, only that member has that reason.

Open strings
------------
* Names are compared by spelling (F double sharp is not G) and by what *sounds*: where the part
  transposes, the written name is carried over first. Everything is still named as the player
  reads it; only the comparison with the strings is made at sounding pitch. Octave transposition
  (the double bass) changes no name.
* Every attack counts, a grace note too: the strings answer it as well. The slur rule does not
  count grace notes, and neither does the beat.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import chain

from skeleton.analysis.beats import from_downbeat_quarters, is_beat
from skeleton.analysis.results import Reason, Rule, SkeletonNote
from skeleton.analysis.timeline import Timeline
from skeleton.score.model import Slur
from skeleton.theory.instrument import Instrument, string_named
from skeleton.theory.interval import Interval, transpose
from skeleton.theory.pitch import Pitch

Events = tuple[tuple[int, ...], ...]
"""A slur's events, each as the numbers of its attacks."""


@dataclass(frozen=True, slots=True)
class BowSlurs:
    """The slurs that count, and for each attack the numbers of those it lies in.

    ``written`` runs parallel to ``slurs``: each slur as the score has it.
    """

    slurs: tuple[Events, ...]
    of_attack: Mapping[int, tuple[int, ...]]
    written: tuple[Slur, ...] = ()


def bow_slurs(timeline: Timeline) -> BowSlurs:
    """Return the slurs of a part that are no phrasing, in the order in which they start."""
    by_first: dict[int, list[tuple[Events, Slur]]] = {}
    for slur in timeline.part.slurs:
        events = _events(timeline, slur)
        if len(events) >= 2:
            by_first.setdefault(events[0][0], []).append((events, slur))
    starts = by_first.keys()
    counted: list[tuple[Events, Slur]] = []
    for same_start in by_first.values():
        distinct: dict[frozenset[int], tuple[Events, Slur]] = {}
        for found in same_start:
            distinct.setdefault(_members(found[0]), found)
        for members, found in distinct.items():
            if not any(
                inner is not found[0] and _members(inner) < members
                for start in members & starts
                for inner, _ in by_first[start]
            ):
                counted.append(found)
    of_attack: dict[int, tuple[int, ...]] = {}
    for number, (events, _) in enumerate(counted):
        this_one = (number,)
        for event in events:
            for attack in event:
                before = of_attack.get(attack)
                of_attack[attack] = this_one if before is None else before + this_one
    return BowSlurs(
        tuple([events for events, _ in counted]), of_attack, tuple([slur for _, slur in counted])
    )


def _members(events: Events) -> frozenset[int]:
    return frozenset(chain.from_iterable(events))


def _events(timeline: Timeline, slur: Slur) -> Events:
    index = timeline.index
    events: list[tuple[int, ...]] = []
    for ids in slur.events:
        if len(ids) == 1:
            if ids[0] in index:
                events.append((index[ids[0]],))
        elif event := {index[one] for one in ids if one in index}:
            events.append(tuple(sorted(event)))
    return tuple(events)


def rule_notes(timeline: Timeline, slurs: BowSlurs, rule: Rule) -> dict[int, int]:
    """Return the notes a rule takes: number of the attack to how many events its slur holds.

    The count is 0 for notes on the beat. A note that two slurs give keeps the first one's count.
    """
    if rule == "on-beat":
        return dict.fromkeys(_on_beat(timeline), 0)
    found: dict[int, int] = {}
    taken = {"first": 0, "last": -1}.get(rule, 1)
    for events in slurs.slurs:
        if rule != "pairs" or len(events) == 2:
            for attack in events[taken]:
                found.setdefault(attack, len(events))
    return found


def _on_beat(timeline: Timeline) -> list[int]:
    downbeats = [
        timeline.to_ticks(measure.onset_quarters)
        - int(from_downbeat_quarters(measure) * timeline.ticks_per_quarter)
        for measure in timeline.part.measures
    ]
    metres = [measure.metre for measure in timeline.part.measures]
    beats: dict[tuple[int, int], bool] = {}
    found: list[int] = []
    for attack, (note, tick) in enumerate(zip(timeline.attacks, timeline.ticks, strict=True)):
        if note.grace:
            continue
        metre = metres[note.measure]
        # Measures share few metre objects, which are slow to hash and quick to tell apart.
        place = (tick - downbeats[note.measure], id(metre))
        if place not in beats:
            beats[place] = is_beat(metre, Fraction(place[0], timeline.ticks_per_quarter))
        if beats[place]:
            found.append(attack)
    return found


def open_string_notes(timeline: Timeline, instrument: Instrument) -> dict[int, Pitch]:
    """Return the attacks named like an open string: number of the attack to that string."""
    part = timeline.part
    found: dict[int, Pitch] = {}
    known: dict[tuple[Pitch, int, int], Pitch | None] = {}
    for attack, note in enumerate(timeline.attacks):
        if note.pitch is None:
            continue
        diatonic = chromatic = 0
        if part.transpositions:
            shift = part.transposition_at(note.onset_quarters, note.staff)
            diatonic, chromatic = shift.diatonic, shift.chromatic
        key = (note.pitch, diatonic, chromatic)
        if key not in known:
            sounding = transpose(note.pitch, Interval(diatonic, chromatic))
            known[key] = string_named(instrument, sounding)
        string = known[key]
        if string is not None:
            found[attack] = string
    return found


def skeleton_notes(
    timeline: Timeline,
    by_rule: Mapping[int, int],
    by_name: Mapping[int, Pitch],
    *,
    added: frozenset[int] = frozenset(),
    removed: frozenset[int] = frozenset(),
) -> dict[int, SkeletonNote]:
    """Return the skeleton: number of the attack, in time order, to the structural note.

    Args:
        timeline: the part.
        by_rule: what :func:`rule_notes` took.
        by_name: what :func:`open_string_notes` found.
        added: attacks that the lesson file puts into the skeleton.
        removed: attacks that it takes out, whatever the reason they were in.
    """
    chosen = sorted((by_rule.keys() | by_name.keys() | added) - removed)
    places = timeline.places(chosen)
    found: dict[int, SkeletonNote] = {}
    for attack in chosen:
        reasons = _reasons(attack in by_rule, attack in by_name, attack in added)
        found[attack] = SkeletonNote(
            places[attack], reasons, by_name.get(attack), by_rule.get(attack, 0)
        )
    return found


@lru_cache
def _reasons(by_rule: bool, by_name: bool, by_lesson: bool) -> tuple[Reason, ...]:
    """Return the reasons of a note, one object for all notes that share them."""
    found: list[Reason] = []
    if by_rule:
        found.append("slur")
    if by_name:
        found.append("open-string")
    if by_lesson:
        found.append("lesson")
    return tuple(found)
