"""How an instrument is tuned, for a person and for a machine.

The JSON of ``skeleton tuning --json``; other programs read it: extend it only by new keys::

    {"format": 1,
     "take": {"name": str, "kind": str, "duration_s": float, "level_dbfs": float,
              "warnings": [{"code": str, "message": str, "start_s": float|null,
                            "end_s": float|null}]},
     "instrument": {"name": str, "open_strings": ["G3", ...]},
     "a4_hz": float, "own_a4_hz": float|null, "tolerance_cents": float,
     "strings": [{"string": "G3", "target_hz": float, "hz": float|null, "u_cents": float|null,
                  "deviation_cents": float|null, "own_cents": float|null,
                  "own_u_cents": float|null,
                  "verdict": "in tune"|"sharp"|"flat"|"cannot tell"|"not heard",
                  "turn": "up"|"down"|null, "heard_s": float, "settled_s": float|null,
                  "moved_cents": float}],
     "pairs": [{"low": "G3", "high": "D4", "size_cents": float|null, "pure_cents": float,
                "u_cents": float|null,
                "verdict": "in tune"|"sharp"|"flat"|"cannot tell"|"not heard"}],
     "strings_hz": "196.10,..."|null,
     "cautions": [{"text": str, "source": str}]}

``deviation_cents`` counts from the pure tuning from ``a4_hz``, ``own_cents`` from the pure tuning
from the instrument's own A string; of a pair ``sharp`` is too wide, ``flat`` too narrow.
``u_cents`` are two standard errors; ``strings_hz`` is null where a string was not measured.
"""

from __future__ import annotations

import json
from typing import Any, Final

from skeleton.audio.decode import Recording, clock
from skeleton.export.lists.document import Block, Document, Heading, Line, Table
from skeleton.export.lists.words import listed, one_line, pitch_text, pitches_text
from skeleton.intonation.cautions import PEGS, TUNING
from skeleton.listening.tuning import PairState, StringState, Tuning

FINE_TUNER_CENTS: Final = 30.0
"""Up to here a fine tuner does, where the string has one (common practice, no source)."""

FAR_CENTS: Final = 100.0
"""From here a string is far from its pitch, and tuning it up is where strings break."""

_PAIRS: Final = {
    "in tune": "pure",
    "sharp": "too wide",
    "flat": "too narrow",
    "cannot tell": "cannot tell",
    "not heard": "not heard",
}


def tuning_document(found: Tuning, take: Recording, *, signs: bool = False) -> Document:
    """Return the tuning as headings, lines and tables.

    Args:
        found: how the strings are tuned.
        take: the recording they were heard in.
        signs: write pitches with the signs of the trade.
    """
    strings = pitches_text(found.instrument.open_strings, signs=signs)
    blocks: list[Block] = [
        Heading(f"Open strings in {one_line(take.path.name)}", 1),
        Line(
            f"Heard as {one_line(found.instrument.name)} ({strings}), against pure fifths from "
            f"A4 = {found.a4_hz:g} Hz; a string may be {found.tolerance_cents:g} cents off."
        ),
        Table(
            ("string", "Hz", "from A4", "from own A", "uncertain by", "verdict"),
            tuple(_string_row(one, signs=signs) for one in found.strings),
        ),
        Heading("String against string", 3),
        Table(
            ("strings", "cents", "from pure", "uncertain by", "verdict"),
            tuple(_pair_row(one, signs=signs) for one in found.pairs),
        ),
        Heading("What to turn", 3),
        *(Line(text) for text in advice(found, signs=signs)),
    ]
    blocks += [Line(text) for text in _remarks(found, signs=signs)]
    text = strings_option(found)
    blocks.append(Heading("To measure a take against these strings", 3))
    if text is None:
        missing = [one.string for one in found.strings if one.heard.hz is None or one.several]
        names = listed(pitch_text(one, signs=signs) for one in missing)
        blocks.append(Line(f"Every string is needed; record {names} again, alone."))
    else:
        blocks.append(Line(f"skeleton targets ETUDE --strings-hz {text}"))
    blocks.append(Heading("Take care", 3))
    blocks += [Line(one.text) for one in (TUNING, PEGS)]
    return tuple(blocks)


def tuning_json(found: Tuning, take: Recording) -> str:
    """Return the tuning as JSON text."""
    data: dict[str, Any] = {
        "format": 1,
        "take": {
            "name": take.path.name,
            "kind": take.kind,
            "duration_s": round(take.duration_s, 3),
            "level_dbfs": round(take.level_dbfs, 1),
            "warnings": [
                {
                    "code": one.code,
                    "message": one.message,
                    "start_s": _rounded(one.start_s, 3),
                    "end_s": _rounded(one.end_s, 3),
                }
                for one in take.notices
            ],
        },
        "instrument": {
            "name": found.instrument.name,
            "open_strings": [str(one) for one in found.instrument.open_strings],
        },
        "a4_hz": found.a4_hz,
        "own_a4_hz": _rounded(found.own_a4_hz, 3),
        "tolerance_cents": found.tolerance_cents,
        "strings": [_string_json(one) for one in found.strings],
        "pairs": [
            {
                "low": str(one.low),
                "high": str(one.high),
                "size_cents": _rounded(one.size_cents, 2),
                "pure_cents": round(one.pure_cents, 3),
                "u_cents": _rounded(one.u_cents, 2),
                "verdict": one.verdict,
            }
            for one in found.pairs
        ],
        "strings_hz": strings_option(found),
        "cautions": [{"text": one.text, "source": one.source} for one in (TUNING, PEGS)],
    }
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def strings_option(found: Tuning) -> str | None:
    """Return the value of ``--strings-hz`` for these strings, or None where one is missing.

    Hundredths of a hertz: on the lowest string of a violin a hundredth is 0.09 cents.
    """
    measured = found.strings_hz
    return None if measured is None else ",".join(f"{hz:.2f}" for hz in measured)


def advice(found: Tuning, *, signs: bool = False) -> list[str]:
    """Return what to turn, the A string first: one line for each string that is off."""
    order = sorted(found.strings, key=lambda one: one.string.step != "A")
    lines = [_turn(one, signs=signs) for one in order if one.verdict in ("sharp", "flat")]
    if lines:
        return lines
    if all(one.verdict == "in tune" for one in found.strings):
        return ["Nothing: every string is in tune."]
    return ["Nothing for certain: see the verdicts."]


def _turn(one: StringState, *, signs: bool) -> str:
    away = one.deviation_cents or 0.0
    hz = (one.heard.hz or 0.0) - one.target_hz
    name = pitch_text(one.string, signs=signs)
    way = "down" if away > 0 else "up"
    tool = "with the fine tuner if it has one" if abs(away) <= FINE_TUNER_CENTS else "with the peg"
    text = f"{name}: {way} by {abs(away):.1f} cents ({abs(hz):.2f} Hz), {tool}."
    if away < -FAR_CENTS:
        text += " That is far: bring it up in small steps, or have a teacher do it."
    return text


def _remarks(found: Tuning, *, signs: bool) -> list[str]:
    lines = []
    off = any(one.verdict in ("sharp", "flat") for one in found.strings)
    if found.agrees_with_itself and off and found.own_a4_hz is not None:
        lines.append(
            f"The strings agree with each other at A4 = {found.own_a4_hz:.1f} Hz. To keep them "
            f"there: --a4 {found.own_a4_hz:.1f}."
        )
    several = [one for one in found.strings if one.several]
    if several:
        names = listed(pitch_text(one.string, signs=signs) for one in several)
        lines.append(
            f"Near {names} several pitches sound. Record the open strings alone, one after "
            "another, two seconds each."
        )
    lines += [
        f"{pitch_text(one.string, signs=signs)} moved by {one.heard.moved_cents:+.1f} cents; it "
        f"counts as it is from {clock(one.heard.settled_s)} on."
        for one in found.strings
        if one.heard.moved_cents and not one.several and one.heard.settled_s is not None
    ]
    unsure = [one for one in found.strings if one.verdict == "cannot tell" and not one.several]
    if unsure:
        names = listed(pitch_text(one.string, signs=signs) for one in unsure)
        lines.append(
            f"Of {names} the recording cannot tell whether it is in tune: it lies near the limit, "
            "or its sound is too unsteady."
        )
    return lines


def _string_row(one: StringState, *, signs: bool) -> tuple[str, ...]:
    name = pitch_text(one.string, signs=signs)
    if one.heard.hz is None:
        return (name, "", "", "", "", one.verdict)
    return (
        name,
        f"{one.heard.hz:.2f}",
        _cents(one.deviation_cents),
        _cents(one.own_cents),
        f"{one.u_cents:.1f}" if one.u_cents is not None else "",
        one.verdict,
    )


def _pair_row(one: PairState, *, signs: bool) -> tuple[str, ...]:
    name = f"{pitch_text(one.low, signs=signs)} {pitch_text(one.high, signs=signs)}"
    if one.size_cents is None or one.u_cents is None:
        return (name, "", "", "", _PAIRS[one.verdict])
    away = one.size_cents - one.pure_cents
    size = f"{one.size_cents:.1f}"
    return (name, size, _cents(away), f"{one.u_cents:.1f}", _PAIRS[one.verdict])


def _string_json(one: StringState) -> dict[str, Any]:
    return {
        "string": str(one.string),
        "target_hz": round(one.target_hz, 3),
        "hz": _rounded(one.heard.hz, 3),
        "u_cents": _rounded(one.u_cents, 2),
        "deviation_cents": _rounded(one.deviation_cents, 2),
        "own_cents": _rounded(one.own_cents, 2),
        "own_u_cents": _rounded(one.own_u_cents, 2),
        "verdict": one.verdict,
        "turn": {"sharp": "down", "flat": "up"}.get(one.verdict),
        "heard_s": round(one.heard.heard_s, 2),
        "settled_s": _rounded(one.heard.settled_s, 2),
        "moved_cents": round(one.heard.moved_cents, 2),
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _cents(value: float | None) -> str:
    return "" if value is None else f"{value:+.1f}"
