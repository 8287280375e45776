"""The outline of an etude as data: what a program reads of an analysis.

The form is a contract, marked ``"format": 1``: keys are added, never renamed or dropped.
Pitches are written ``F#4``; ``measure`` is the printed number as a string; ``onset`` is
quarters from the start of the part as a string fraction, ``"33/4"``. ``beat`` counts from 1 in
units of the metre's denominator: an integer where it is whole, otherwise a number rounded to
six decimals. Semitones are integers, numbers with a fraction for microtones. Shares run from 0
to 1. Lists stand in score order, part after part.

``notes`` of a part counts its attacks: a tied continuation is not a note played again.
"""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any

from skeleton.analysis.results import (
    AccidentalNote,
    Analysis,
    Anchor,
    MatchGroup,
    Place,
    SkeletonNote,
)
from skeleton.export.lists.by_passage import by_measure, in_passage
from skeleton.theory.instrument import Instrument
from skeleton.theory.interval import describe

Json = dict[str, Any]


def outline(analysis: Analysis) -> Json:
    """Return the outline as plain lists and dictionaries, ready for :mod:`json`."""
    parts = analysis.parts
    return {
        "format": 1,
        "score": _score(analysis),
        "instrument": _instrument(parts[0].instrument, analysis.a4_hz) if parts else None,
        "rule": analysis.rule,
        "rule_fit": [
            {
                "rule": fit.rule,
                "half_step_share": round(fit.half_step_share, 6),
                "unaltered_share": round(fit.unaltered_share, 6),
                "notes": fit.notes,
            }
            for fit in analysis.rule_fit
        ],
        "skeleton": [_skeleton_note(note) for part in parts for note in part.skeleton],
        "accidentals": [_accidental(note) for part in parts for note in part.accidentals],
        "matches": [_match(group) for part in parts for group in part.matches],
        "passages": _passages(analysis),
        "enharmonic_twins": [
            {
                "part": twins.part,
                "passage": twins.passage,
                "pitch_classes": [str(twins.first), str(twins.second)],
            }
            for part in parts
            for twins in part.twins
        ],
    }


def outline_json(analysis: Analysis) -> str:
    """Return the outline as JSON text, indented, with a newline at its end."""
    return json.dumps(outline(analysis), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def number(value: int | Fraction) -> int | float:
    """Return an exact number as JSON writes it: an integer, or rounded to six decimals."""
    return int(value) if value == int(value) else round(float(value), 6)


def _score(analysis: Analysis) -> Json:
    instruments = {part.part: part.instrument for part in analysis.parts}
    return {
        "title": analysis.score.title,
        "parts": [
            {
                "id": part.id,
                "name": part.name,
                "measures": len(part.measures),
                "notes": sum(note.is_attack for note in part.notes),
                "instrument": instruments[part.id].name if part.id in instruments else None,
            }
            for part in analysis.score.parts
        ],
        "warnings": [
            {
                "code": notice.code,
                "message": notice.message,
                "measure": notice.measure,
                "part": notice.part,
            }
            for notice in analysis.notices
        ],
        "source": analysis.score.source.name,
    }


def _instrument(instrument: Instrument, a4_hz: float) -> Json:
    return {
        "name": instrument.name,
        "open_strings": [str(string) for string in instrument.open_strings],
        "a4_hz": float(a4_hz),
    }


def _place(place: Place) -> Json:
    return {
        "id": place.id,
        "part": place.part,
        "measure": place.measure,
        "beat": number(place.beat),
        "onset": str(place.onset_quarters),
        "voice": place.voice,
        "pitch": str(place.pitch),
    }


def _skeleton_note(note: SkeletonNote) -> Json:
    return _place(note.place) | {
        "reasons": list(note.reasons),
        "open_string": str(note.open_string) if note.open_string else None,
        "slur_notes": note.slur_notes,
    }


def _accidental(note: AccidentalNote) -> Json:
    anchor = note.anchor
    return _place(note.place) | {
        "printed": note.printed,
        "structural": note.structural,
        "open_string": note.open_string,
        "anchor": _anchor(anchor),
        "runner_up": _anchor(note.runner_up),
        "interval": anchor.interval.name if anchor else None,
        "semitones": number(anchor.interval.semitones) if anchor else None,
        "text": describe(anchor.interval, anchor.place.pitch) if anchor else "no anchor",
        "direction": anchor.interval.direction if anchor else None,
        "from_key": note.from_key,
    }


def _anchor(anchor: Anchor | None) -> Json | None:
    if anchor is None:
        return None
    place = anchor.place
    return {
        "id": place.id,
        "measure": place.measure,
        "pitch": str(place.pitch),
        "beat": number(place.beat),
        "text": describe(anchor.interval, place.pitch),
    }


def _match(group: MatchGroup) -> Json:
    return {
        "label": group.label,
        "pitch_class": str(group.pitch_class),
        "octaves": list(group.octaves),
        "across_octaves": group.across_octaves,
        "notes": list(group.notes),
        "leans": [
            {
                "anchor_pitch_class": str(lean.anchor),
                "interval": lean.interval.name,
                "direction": lean.interval.direction,
                "notes": list(lean.notes),
                "semitones": number(lean.interval.semitones),
            }
            for lean in group.leans
        ],
        "part": group.part,
    }


def _passages(analysis: Analysis) -> list[Json]:
    bones = by_measure(note for part in analysis.parts for note in part.skeleton)
    accidentals = by_measure(note for part in analysis.parts for note in part.accidentals)
    return [
        {
            "name": passage.name,
            "first_measure": passage.first_measure,
            "last_measure": passage.last_measure,
            "skeleton": len(in_passage(bones, passage)),
            "accidentals": len(in_passage(accidentals, passage)),
        }
        for passage in analysis.passages
    ]
