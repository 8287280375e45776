"""A MusicXML file to the reading model, measure by measure.

Source: MusicXML 4.0, ``score-partwise``, ``score-timewise`` and the score header.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import TypeVar

from skeleton.errors import ScoreError
from skeleton.score.ids import LONGEST_ID, NoteIds, unlike
from skeleton.score.model import Note, Notice, Part, Score, Slur, Source
from skeleton.score.notes import TIE_START, RawNote
from skeleton.score.signs import contradicts
from skeleton.score.slurs import Complaint, RawSlur, join
from skeleton.score.stream import Rest, take_measures
from skeleton.score.ties import link_ties, tie_marks
from skeleton.score.tree import (
    Element,
    PartKey,
    PartSource,
    in_its_encoding,
    part_sources,
    refuse_entities,
    score_root,
    text_of,
)
from skeleton.score.walk import LONGEST_MEASURE_QUARTERS, PartWalk

_Raw = TypeVar("_Raw")

_COMPLAINTS = {
    "slur-stop-without-start": "a slur ends that never began; it is left out",
    "slur-without-stop": "a slur begins that never ends; it is left out",
    "slur-within-one-event": "a slur begins and ends at one time; it is left out",
    "slur-on-rest": "a slur ends on a rest; the nearest sounding note of the slur is taken",
    "slur-crowd": "too many slurs lie over each other; this one is left out",
}


def read_score(source: Source) -> Score:
    """Read a score from the bytes of a MusicXML file.

    Raises:
        ScoreError: the bytes are no score that can be read.
    """
    (rest, walks), odd_bytes = in_its_encoding(source.data, source.name, _walk)
    refuse_entities(rest.root, source.name)
    root = score_root(rest.root, source.name)
    notices = list(odd_bytes)
    ids = NoteIds(rest.ids)
    names = _part_names(root)
    parts: list[Part] = []
    sources = list(part_sources(root))
    index = 0
    for part_source, part_id in zip(sources, part_ids(sources), strict=True):
        odd = _check_part(part_source, part_id, names)
        if odd is not None:
            notices.append(odd)
        walk = walks.pop(part_source.key, None) or PartWalk()
        walk.end(part_id, ids, index)
        if walk.endless is not None:
            raise ScoreError(
                f"{source.name}: part {part_id}, measure {walk.endless}: is longer than its notes "
                f"and {LONGEST_MEASURE_QUARTERS} quarters more; export the score again"
            )
        index += len(walk.notes)
        name = names.get(part_source.id or "")
        if any(note.pitch is not None for note in walk.notes):
            parts.append(_part(walk, name))
            notices.extend(walk.notices)
        else:
            label = f" ({name})" if name else ""
            notices.append(
                Notice("part-skipped", f"part {part_id}{label} has no pitched note", part_id)
            )
    if ids.dropped:
        notices.append(
            Notice(
                "bad-ids",
                f"{len(ids.dropped)} note ids of the file are borne twice or are no XML names "
                f"({ids.dropped[0][:40]!r}); those notes get new ones",
            )
        )
    present = {part_source.id for part_source in sources}
    notices.extend(
        Notice("part-missing", f"part {part_id} is in the part list, but has no music", part_id)
        for part_id in names
        if part_id not in present
    )
    if not parts:
        notices.append(Notice("no-notes", "the score has no pitched note"))
    return Score(
        _title(root),
        _creator(root) or _credit(root, "composer"),
        tuple(parts),
        tuple(notices),
        source,
    )


def _walk(data: bytes, encoding: str | None) -> tuple[Rest, dict[PartKey, PartWalk]]:
    """Walk through all measures, each part by itself; return what is left, and the walks."""
    walks: dict[PartKey, PartWalk] = defaultdict(PartWalk)

    def take(part: PartKey, head: Element, body: Element) -> None:
        walks[part].measure(head, body)

    return take_measures(data, encoding, take), walks


def part_ids(sources: Sequence[PartSource]) -> list[str]:
    """Return an id for each part, all different: the file's own, where it has a good one."""
    taken: dict[str, int] = {}
    return [
        unlike((_usable(source.id) or f"P{place}"), taken)
        for place, source in enumerate(sources, 1)
    ]


def _usable(part_id: str | None) -> str | None:
    """Return a part's own id, None where it has none that can be repeated at every note."""
    return part_id if part_id is not None and len(part_id) <= LONGEST_ID else None


def _check_part(source: PartSource, part_id: str, names: dict[str, str | None]) -> Notice | None:
    """Say what is odd about a part's id."""
    if _usable(source.id) is None:
        return Notice("part-without-id", f"a part has no id; it is called {part_id}", part_id)
    if source.id != part_id:
        return Notice(
            "part-id-twice", f"two parts are called {source.id}; the later is {part_id}", part_id
        )
    if part_id not in names:
        return Notice(
            "part-unlisted", f"part {part_id} is not in the part list; it is read anyway", part_id
        )
    return None


def _part(walk: PartWalk, name: str | None) -> Part:
    for note in link_ties(walk.notes):
        walk.notice(
            "tie-without-start",
            f"{note.pitch} is tied to no note before it; it is taken as played",
            walk.measures[note.measure].number,
        )
    for note in walk.notes:
        if note.sign is not None and note.pitch is not None and contradicts(note.sign, note.pitch):
            walk.notice(
                "sign-contradicts-alter",
                f"the printed sign {note.sign.name} does not fit the note, which the file sounds "
                f"as {note.pitch}; the sounding note is taken",
                walk.measures[note.measure].number,
            )
    slurs, complaints = join(walk.notes, walk.staves)
    for complaint in complaints:
        _complain(walk, complaint)
    finished_slurs = tuple([_slur(slur, walk) for slur in _taken_from(slurs)])
    finished_notes = tuple([_note(note, walk) for note in _taken_from(walk.notes)])
    return Part(
        walk.part_id,
        name,
        tuple(walk.measures),
        finished_notes,
        finished_slurs,
        tuple(sorted(walk.keys, key=lambda change: change.onset_quarters)),
        tuple(sorted(walk.transpositions, key=lambda change: change.onset_quarters)),
        tuple(sorted(walk.clefs, key=lambda change: change.onset_quarters)),
        walk.staves,
    )


def _taken_from(row: list[_Raw]) -> Iterator[_Raw]:
    """Yield the items of a list in their order and drop them: what comes after takes their room."""
    row.reverse()
    while row:
        yield row.pop()


def _complain(walk: PartWalk, complaint: Complaint) -> None:
    note = complaint.end.note
    at = f" (at {note.pitch}, slur {complaint.end.number})" if note.pitch is not None else ""
    walk.notice(
        complaint.code,
        _COMPLAINTS[complaint.code] + at,
        walk.measures[note.measure].number,
    )


def _note(raw: RawNote, walk: PartWalk) -> Note:
    # In the order of the model's fields: this line runs for every note of a score.
    return Note(
        raw.id,
        walk.first_index + raw.index,
        raw.kind,
        raw.measure,
        walk.quarters[raw.onset],
        walk.quarters[raw.duration],
        raw.voice or "1",
        raw.staff,
        raw.pitch,
        raw.chord,
        raw.grace,
        raw.cue,
        raw.printed,
        raw.continues.id if raw.continues is not None else None,
        bool(tie_marks(raw) & TIE_START),
        raw.sign,
        raw.type,
        raw.dots,
        raw.time_modification,
        raw.fingering,
        raw.string,
        raw.open_string,
        raw.harmonic,
        raw.fermata,
        raw.measure_rest,
    )


def _slur(slur: RawSlur, walk: PartWalk) -> Slur:
    return Slur(
        slur.first.id,
        slur.last.id,
        slur.start.number,
        tuple([tuple([note.id for note in event]) for event in slur.events]),
        walk.quarters[slur.onset],
        walk.quarters[slur.end],
    )


def _part_names(root: Element) -> dict[str, str | None]:
    part_list = root.find("part-list")
    if part_list is None:
        return {}
    return {
        part.get("id", ""): text_of(part.find("part-name"))
        for part in part_list.iterchildren("score-part")
    }


def _title(root: Element) -> str | None:
    return (
        text_of(root.find("work/work-title"))
        or text_of(root.find("movement-title"))
        or _credit(root, "title")
    )


def _creator(root: Element) -> str | None:
    for creator in root.iterfind("identification/creator"):
        if creator.get("type") == "composer":
            return text_of(creator)
    return None


def _credit(root: Element, kind: str) -> str | None:
    """Return the words of a credit that says it is the title or composer, in one piece."""
    for credit in root.iterchildren("credit"):
        words = credit.findall("credit-words")
        if len(words) == 1 and any(
            text_of(each) == kind for each in credit.iterfind("credit-type")
        ):
            return text_of(words[0])
    return None
