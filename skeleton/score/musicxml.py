"""A parsed MusicXML tree to the reading model.

Source: MusicXML 4.0, ``score-partwise``, ``score-timewise`` and the score header.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from skeleton.score.ids import NoteIds
from skeleton.score.model import Note, Notice, Part, Score, Slur, Source
from skeleton.score.notes import TIE_START, RawNote
from skeleton.score.signs import contradicts
from skeleton.score.slurs import Complaint, RawSlur, join
from skeleton.score.ties import link_ties, tie_marks
from skeleton.score.tree import Element, PartSource, part_sources, text_of
from skeleton.score.walk import PartWalk

_COMPLAINTS = {
    "slur-stop-without-start": "a slur ends that never began; it is left out",
    "slur-without-stop": "a slur begins that never ends; it is left out",
    "slur-within-one-event": "a slur begins and ends at one time; it is left out",
    "slur-on-rest": "a slur ends on a rest; the nearest sounding note of the slur is taken",
    "slur-crowd": "too many slurs lie over each other; this one is left out",
}


def read_tree(root: Element, source: Source) -> Score:
    """Read a score from its root element (see :func:`skeleton.score.tree.score_root`)."""
    notices: list[Notice] = []
    ids = NoteIds(root)
    names = _part_names(root)
    parts: list[Part] = []
    sources = list(part_sources(root))
    index = 0
    for part_source, part_id in zip(sources, part_ids(sources), strict=True):
        odd = _check_part(part_source, part_id, names)
        if odd is not None:
            notices.append(odd)
        walk = PartWalk(part_source, part_id, ids, index)
        index += walk.run()
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


def part_ids(sources: Sequence[PartSource]) -> list[str]:
    """Return an id for each part, all different: the file's own, where it has a good one."""
    found: dict[str, None] = {}
    for place, source in enumerate(sources):
        own = base = source.id or f"P{place + 1}"
        count = 1
        while own in found:
            count += 1
            own = f"{base}_{count}"
        found[own] = None
    return list(found)


def _check_part(source: PartSource, part_id: str, names: dict[str, str | None]) -> Notice | None:
    """Say what is odd about a part's id."""
    if source.id is None:
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
    quarters = walk.quarters
    return Part(
        walk.part_id,
        name,
        tuple(walk.measures),
        tuple([_note(note, quarters[note.onset], quarters[note.duration]) for note in walk.notes]),
        tuple([_slur(slur, walk) for slur in slurs]),
        tuple(sorted(walk.keys, key=lambda change: change.onset_quarters)),
        tuple(sorted(walk.transpositions, key=lambda change: change.onset_quarters)),
        tuple(sorted(walk.clefs, key=lambda change: change.onset_quarters)),
        walk.staves,
    )


def _complain(walk: PartWalk, complaint: Complaint) -> None:
    note = complaint.end.note
    at = f" (at {note.pitch}, slur {complaint.end.number})" if note.pitch is not None else ""
    walk.notice(
        complaint.code,
        _COMPLAINTS[complaint.code] + at,
        walk.measures[note.measure].number,
    )


def _note(raw: RawNote, onset: Fraction, duration: Fraction) -> Note:
    # In the order of the model's fields: this line runs for every note of a score.
    return Note(
        raw.id,
        raw.index,
        raw.kind,
        raw.measure,
        onset,
        duration,
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
