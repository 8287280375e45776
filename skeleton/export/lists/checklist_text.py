"""The checklist to print: plain text, and Markdown with task lists.

Both say the same. Text is ASCII but for what the score itself says, unless signs are asked for;
Markdown always writes ♯ and ♭, and escapes whatever comes from the score.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator
from itertools import groupby

from skeleton.analysis.results import Place
from skeleton.export.lists.checklist import CAUTIONS, Checklist, Match, PassageChecklist, TunedNote
from skeleton.export.lists.document import width
from skeleton.export.lists.words import (
    RULES,
    anchor_text,
    beat_text,
    listed,
    measures_text,
    octaves_text,
    one_line,
    pitch_text,
    pitches_text,
)

PAGE_WIDTH = 92
"""Characters on a line of the text form: an upright page in a usual type size."""

NAMED_PASSAGES = 6
"""Other passages of a match that are named; more are counted."""

Section = tuple[str, tuple[str, ...]]
"""A heading and the items under it, each to be ticked."""


def checklist_text(checklist: Checklist, *, signs: bool = False) -> str:
    """Return the checklist as plain text with a box before each item, a newline at its end.

    Lines are broken between words to fit a printed page; nothing is cut.
    """
    title = f"Checklist: {one_line(checklist.title)}"
    lines = [title, "=" * width(title), *_wrapped(intro(checklist, signs=signs))]
    for passage in checklist.passages:
        head = passage_title(passage, several_parts=checklist.several_parts)
        lines += ["", head, "-" * width(head)]
        for name, items in sections(passage, signs=signs):
            lines.append(f"{name}:")
            lines += [line for item in items for line in _wrapped(item, first="  [ ] ")]
    lines += ["", *(f"({caution})" for caution in CAUTIONS)]
    return "\n".join(lines) + "\n"


def checklist_markdown(checklist: Checklist) -> str:
    """Return the checklist as Markdown: a heading per passage and a task list per section."""
    lines = [
        f"# Checklist: {escaped(one_line(checklist.title))}",
        "",
        escaped(intro(checklist, signs=True)),
    ]
    for passage in checklist.passages:
        head = passage_title(passage, several_parts=checklist.several_parts)
        lines += ["", f"## {escaped(head)}"]
        for name, items in sections(passage, signs=True):
            lines += ["", f"**{name}**", "", *(f"- [ ] {escaped(item)}" for item in items)]
    lines += ["", "---", "", *(f"<sub>{caution}</sub>  " for caution in CAUTIONS)]
    return "\n".join(line.rstrip() if line == "" else line for line in lines) + "\n"


def _wrapped(text: str, *, first: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        PAGE_WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first),
        break_long_words=False,
        break_on_hyphens=False,
    )


def escaped(text: str) -> str:
    r"""Return text so that Markdown shows it as it is: ``*`` becomes ``\*``, ``<`` an entity."""
    text = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    text = re.sub(r"([\\`*_{}\[\]#|~$!])", r"\\\1", text)
    return re.sub(r"^(\s*)([-+=]|\d+[.)])", _escape_start, text)


def intro(checklist: Checklist, *, signs: bool = False) -> str:
    """Return the line that says what the checklist was made from."""
    instruments = dict.fromkeys(
        f"{one_line(passage.instrument.name)} "
        f"({pitches_text(passage.instrument.open_strings, signs=signs)})"
        for passage in checklist.passages
    )
    taken = f"For {listed(instruments)}, A4 = {checklist.a4_hz:g} Hz. " if instruments else ""
    nothing = "" if checklist.passages else " It has nothing to tune."
    return (
        f"From {one_line(checklist.source)}. {taken}Skeleton: {RULES[checklist.rule]}, "
        f"and the notes named like an open string.{nothing}"
    )


def passage_title(passage: PassageChecklist, *, several_parts: bool) -> str:
    """Return a passage's heading: ``Passage A, measures 1 to 8``."""
    part = f"{one_line(passage.part_name)}: " if several_parts else ""
    return f"{part}Passage {one_line(passage.passage.name)}, {measures_text(passage.passage)}"


def sections(passage: PassageChecklist, *, signs: bool = False) -> Iterator[Section]:
    """Yield the sections of one passage that have items, in the order of work."""
    for name, items in (
        ("Tune first", _tune(passage, signs=signs)),
        (
            "Fixed: match the open string, in every octave, and listen for it to ring",
            (
                f"{pitches_text(name.pitches, signs=signs)}"
                f" as open {pitch_text(name.string, signs=signs)}"
                for name in passage.fixed
            ),
        ),
        (
            "Tune each from its skeleton note",
            (tuned_text(note, signs=signs) for note in passage.accidentals),
        ),
        ("Match", (match_text(match, passage, signs=signs) for match in passage.matches)),
        (
            "Not the same note",
            (
                listed(pitch_text(name, signs=signs) for name in (twins.first, twins.second))
                for twins in passage.twins
            ),
        ),
    ):
        if found := tuple(items):
            yield name, found


def tuned_text(note: TunedNote, *, signs: bool = False) -> str:
    """Return one item: ``F#4, half step below G4: measure 3 beat 2 (K)``.

    A note named like an open string is fixed by it, whatever it hangs on.
    """
    label = f" ({note.label})" if note.label else ""
    fixed = "as the open string; " if note.open_string else ""
    return (
        f"{pitch_text(note.pitch, signs=signs)}, {fixed}{anchor_text(note.anchor, signs=signs)}: "
        f"{places_text(note.places, signs=signs)}{label}"
    )


def places_text(places: Iterable[Place], *, signs: bool = False) -> str:
    """Return places as a person says them: ``measure 3 beats 2 and 2.5, measure 4 beat 1``."""
    found = []
    for _, group in groupby(places, key=lambda place: place.measure_index):
        held = list(group)
        beats = list(dict.fromkeys(beat_text(place.beat, signs=signs) for place in held))
        word = "beat" if len(beats) == 1 else "beats"
        found.append(f"measure {one_line(held[0].measure)} {word} {listed(beats)}")
    return "; ".join(found)


def match_text(match: Match, passage: PassageChecklist, *, signs: bool = False) -> str:
    """Return one item: ``K: F# in octaves 4 and 5: lean alike (half step below G)``.

    Members of a group that hang on different notes lean alike only among themselves; a group
    named like an open string matches that.
    """
    group = match.group
    leans = [
        f"{lean.interval.words} {lean.interval.direction} {pitch_text(lean.anchor, signs=signs)}"
        if lean.interval.sign
        else f"like {pitch_text(lean.anchor, signs=signs)}"
        for lean in group.leans
    ]
    alike = "match the open string" if match.open_string else "lean alike"
    each = ""
    if leans and not match.open_string:
        each = f" ({leans[0]})" if len(leans) == 1 else f" by anchor: {'; '.join(leans)}"
    others = _others(match, passage.passage.name)
    also = f"; also in {others}" if others else ""
    return (
        f"{group.label}: {pitch_text(group.pitch_class, signs=signs)} in "
        f"{octaves_text(group.octaves)}: {alike}{each}{also}"
    )


def _others(match: Match, here: str) -> str:
    count = len(match.passages) - (here in match.passages)
    if count > NAMED_PASSAGES:
        return f"{count} other passages"
    names = [one_line(name) for name in match.passages if name != here]
    return f"passage{'s' if count > 1 else ''} {listed(names)}" if names else ""


def _tune(passage: PassageChecklist, *, signs: bool) -> Iterator[str]:
    strings = passage.instrument.open_strings
    for place, string in enumerate(passage.tune_first):
        name = pitch_text(string, signs=signs)
        if place == 0:
            yield f"open {name}, the reference"
            continue
        index = strings.index(string)
        reference = strings.index(passage.tune_first[0])
        neighbour = strings[index + 1 if index < reference else index - 1]
        yield f"open {name}, from {pitch_text(neighbour, signs=signs)}"


def _escape_start(match: re.Match[str]) -> str:
    mark = match[2]
    return f"{match[1]}\\{mark}" if len(mark) == 1 else f"{match[1]}{mark[:-1]}\\{mark[-1]}"
