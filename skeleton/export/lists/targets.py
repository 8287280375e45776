"""The targets of an etude for other programs: JSON for any, CSV for a spreadsheet.

JSON, a contract marked ``"format": 1``: keys are added, never renamed or dropped. ::

    {"format": 1, "title": str, "source": str, "rule": str, "system": str,
     "parts": [{"id": str, "name": str, "instrument": str, "a4_hz": float,
                "strings": [{"pitch": "G3", "hz": float}], "tuned": "pure"|"equal"|"measured",
                "against": "D4"|null}],
     "passages": [{"name": str, "first_measure": str, "last_measure": str, "part": str,
                   "drone": {"strings": ["D4"], "served": int, "notes": int, "why": str},
                   "targets": [TARGET]}],
     "ring": [{"part": str, "pitch": str, "hz": float, "times": int, "passages": [str],
               "answers": [{"string": "D4", "ratio": "2/1", "off_cents": float,
                            "strength_db": float}]}],
     "warnings": [{"code": str, "message": str, "measure": str|null, "part": str|null}],
     "cautions": [{"text": str, "source": str}]}

    TARGET = {"pitch": "F#4", "sounding": "F#4", "role": "fixed"|"skeleton"|"accidental",
     "hz": float, "cents": float, "system": str|null,
     "string": "D4"|null, "octaves": int|null, "tolerance_cents": float|null,
     "band": {"low_cents": float, "high_cents": float, "low_source": str, "high_source": str,
              "from": "anchor"|"equal"}|null,
     "in_band": bool,
     "anchor": {"pitch": str, "interval": str, "direction": str, "text": str,
                "step_cents": float}|null,
     "lean_cents": float|null, "lean_chosen": bool,
     "match": "K"|null, "match_octaves": [int],
     "places": [{"id": str, "measure": str, "beat": number}],
     "checks": [{"drone": str, "string": str, "position": int, "interval": str, "direction": str,
                 "ratio": "5/3", "hz": float, "off_target_cents": float,
                 "beats_hz_5_cents_off": float}],
     "checks_differ_cents": float, "advice": str|null}

``cents`` count above equal temperament of the same A4, ``band`` from there or from the anchor as
its ``from`` says. Frequencies have six decimals, cents three. The open string on which a note
lies is position 0. Pitches in ``checks`` and ``ring`` answers are open strings as they sound.

CSV follows RFC 4180 with the columns of :data:`COLUMNS`, one row for each target.
"""

from __future__ import annotations

import csv
import io
import json
from typing import Any

from skeleton.analysis.results import PartAnalysis
from skeleton.export.lists.checklist_data import guarded
from skeleton.export.lists.checklist_text import places_text
from skeleton.export.lists.outline import number
from skeleton.export.lists.outline_text import part_name, title_of
from skeleton.export.lists.words import anchor_text, listed
from skeleton.intonation.cautions import UNDER_TARGETS
from skeleton.intonation.checks import Check, NoteChecks, checks
from skeleton.intonation.listen_for import listen_for
from skeleton.intonation.results import EtudeTargets, PassageTargets, Target
from skeleton.intonation.ring import Answer
from skeleton.theory.interval import describe

Json = dict[str, Any]

COLUMNS = (
    "passage",
    "first_measure",
    "last_measure",
    "part",
    "note",
    "role",
    "tune_from",
    "hz",
    "cents",
    "lean_cents",
    "band_low_cents",
    "band_high_cents",
    "band_from",
    "band_low_source",
    "band_high_source",
    "match",
    "match_octaves",
    "places",
)
"""The columns of the CSV table; ``cents`` count above equal temperament of the same A4."""


def targets_json(found: EtudeTargets) -> str:
    """Return the targets as JSON text, indented, with a newline at its end."""
    analysis = found.analysis
    data = {
        "format": 1,
        "title": title_of(analysis),
        "source": analysis.score.source.name,
        "rule": analysis.rule,
        "system": found.system,
        "parts": [_part(found, part) for part in analysis.parts],
        "passages": [_passage(passage) for passage in found.passages],
        "ring": [
            {
                "part": note.part,
                "pitch": str(note.pitch),
                "hz": round(note.hz, 6),
                "times": note.times,
                "passages": list(note.passages),
                "answers": [_answer(answer) for answer in note.answers],
            }
            for note in listen_for(found)
        ],
        "warnings": [
            {
                "code": notice.code,
                "message": notice.message,
                "measure": notice.measure,
                "part": notice.part,
            }
            for notice in (*analysis.notices, *found.notices)
        ],
        "cautions": [{"text": one.text, "source": one.source} for one in UNDER_TARGETS],
    }
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def targets_csv(found: EtudeTargets) -> str:
    """Return the targets as one flat table with a header row."""
    names = {part.part: part_name(found.analysis, part) for part in found.analysis.parts}
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for passage in found.passages:
        span = passage.passage
        head = (span.name, span.first_measure, span.last_measure, names[passage.part])
        for target in passage.targets:
            writer.writerow([*map(guarded, head), *_row(target)])
    return out.getvalue()


def _row(target: Target) -> tuple[object, ...]:
    band = target.band
    tune_from = ""
    if target.string is not None:
        tune_from = f"open {target.string}"
    elif target.role == "accidental":
        tune_from = anchor_text(target.anchor)
    return (
        str(target.pitch),
        target.role,
        tune_from,
        round(target.hz, 3),
        _cents(target.equal_cents),
        _cents(target.lean.cents) if target.lean else "",
        _cents(band.low.cents) if band else "",
        _cents(band.high.cents) if band else "",
        band.measured_from if band else "",
        band.low.source if band else "",
        band.high.source if band else "",
        target.match or "",
        listed(target.match_octaves),
        guarded(places_text(target.places)),
    )


def _part(found: EtudeTargets, part: PartAnalysis) -> Json:
    reference = next(
        (one.reference for one in found.passages if one.part == part.part),
        None,
    )
    data: Json = {
        "id": part.part,
        "name": part_name(found.analysis, part),
        "instrument": part.instrument.name,
    }
    if reference is None:
        return data | {"a4_hz": found.analysis.a4_hz, "strings": [], "tuned": None, "against": None}
    tuning = reference.tuning
    return data | {
        "a4_hz": round(tuning.a4_hz, 6),
        "strings": [
            {"pitch": str(string), "hz": round(hz, 6)}
            for string, hz in zip(tuning.instrument.open_strings, tuning.hz, strict=True)
        ],
        "tuned": tuning.origin,
        "against": str(reference.against) if reference.against else None,
    }


def _passage(passage: PassageTargets) -> Json:
    drone, tuning = passage.drone, passage.reference.tuning
    return {
        "name": passage.passage.name,
        "first_measure": passage.passage.first_measure,
        "last_measure": passage.passage.last_measure,
        "part": passage.part,
        "drone": {
            "strings": [str(string) for string in drone.strings],
            "served": drone.served,
            "notes": drone.notes,
            "why": drone.why,
        },
        "targets": [
            _target(target) | _checks(checks(tuning, target.sounding, target.hz))
            for target in passage.targets
        ],
    }


def _target(target: Target) -> Json:
    anchor, band, lean = target.anchor, target.band, target.lean
    return {
        "pitch": str(target.pitch),
        "sounding": str(target.sounding),
        "role": target.role,
        "hz": round(target.hz, 6),
        "cents": _cents(target.equal_cents),
        "system": target.system,
        "string": str(target.string) if target.string else None,
        "octaves": target.octaves,
        "tolerance_cents": target.tolerance_cents,
        "band": {
            "low_cents": _cents(band.low.cents),
            "high_cents": _cents(band.high.cents),
            "low_source": band.low.source,
            "high_source": band.high.source,
            "from": band.measured_from,
        }
        if band
        else None,
        "in_band": target.in_band,
        "anchor": {
            "pitch": str(anchor.place.pitch),
            "interval": anchor.interval.name,
            "direction": anchor.interval.direction,
            "text": describe(anchor.interval, anchor.place.pitch),
            "step_cents": None if target.step_cents is None else _cents(target.step_cents),
        }
        if anchor
        else None,
        "lean_cents": _cents(lean.cents) if lean else None,
        "lean_chosen": lean.chosen if lean else False,
        "match": target.match,
        "match_octaves": list(target.match_octaves),
        "places": [
            {"id": place.id, "measure": place.measure, "beat": number(place.beat)}
            for place in target.places
        ],
    }


def _checks(found: NoteChecks) -> Json:
    return {
        "checks": [_check(one) for one in found.checks],
        "checks_differ_cents": _cents(found.spread_cents),
        "advice": found.advice,
    }


def _check(check: Check) -> Json:
    return {
        "drone": str(check.drone),
        "string": str(check.string),
        "position": check.position,
        "interval": check.interval.name,
        "direction": check.interval.direction,
        "ratio": _ratio(check.ratio.numerator, check.ratio.denominator),
        "hz": round(check.hz, 6),
        "off_target_cents": _cents(check.off_target_cents),
        "beats_hz_5_cents_off": round(check.beats_hz, 3),
    }


def _answer(answer: Answer) -> Json:
    return {
        "string": str(answer.string),
        "ratio": _ratio(answer.ratio.numerator, answer.ratio.denominator),
        "off_cents": _cents(answer.off_cents),
        "strength_db": round(answer.strength_db, 2),
    }


def _ratio(numerator: int, denominator: int) -> str:
    return f"{numerator}/{denominator}"


def _cents(value: float) -> float:
    # Adding 0.0 turns a minus zero into a plain one.
    return round(value, 3) + 0.0
