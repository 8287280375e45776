"""An analysis made by hand, so that what is exported does not hang on what is analysed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from skeleton.analysis.results import (
    AccidentalNote,
    Analysis,
    Anchor,
    Lean,
    MatchGroup,
    PartAnalysis,
    Passage,
    Place,
    RuleFit,
    SkeletonNote,
    Twins,
)
from skeleton.score.model import Notice
from skeleton.score.reading import read_bytes
from skeleton.theory.instrument import INSTRUMENTS
from skeleton.theory.interval import Interval, between
from skeleton.theory.pitch import parse_pitch, parse_pitch_class

# measure, beat, pitch, slur: eighths in 2/4, slurred in pairs
MUSIC = (
    ("n1", 0, 1, "F#4"), ("n2", 0, Fraction(3, 2), "G4"),
    ("n3", 0, 2, "C#5"), ("n4", 0, Fraction(5, 2), "D5"),
    ("n5", 1, 1, "F#5"), ("n6", 1, Fraction(3, 2), "G5"),
    ("n7", 1, 2, "Gb4"), ("n8", 1, Fraction(5, 2), "F4"),
    ("n9", 2, 1, "F#4"), ("n10", 2, Fraction(3, 2), "G4"),
    ("n11", 2, 2, "F#4"), ("n12", 2, Fraction(5, 2), "F4"),
)  # fmt: skip


def _document() -> bytes:
    measures: list[str] = []
    for index in range(3):
        notes = []
        for place, (name, measure, _, text) in enumerate(MUSIC):
            if measure == index:
                pitch = parse_pitch(text)
                notes.append(
                    f'<note id="{name}"><pitch><step>{pitch.step}</step>'
                    f"<alter>{pitch.alter}</alter><octave>{pitch.octave}</octave></pitch>"
                    "<duration>1</duration><voice>1</voice><type>eighth</type><notations>"
                    f'<slur number="1" type="{"stop" if place % 2 else "start"}"/></notations>'
                    "</note>"
                )
        attributes = (
            "<attributes><divisions>2</divisions><time><beats>2</beats><beat-type>4</beat-type>"
            "</time></attributes>"
        )
        measures.append(
            f'<measure number="{index + 1}">{"" if index else attributes}{"".join(notes)}</measure>'
        )
    return (
        '<score-partwise version="4.0"><work><work-title>Étude *one*</work-title></work>'
        '<part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list>'
        f'<part id="P1">{"".join(measures)}</part></score-partwise>'
    ).encode()


def _places() -> dict[str, Place]:
    return {
        name: Place(
            name, "P1", str(measure + 1), measure, Fraction(beat),
            2 * measure + Fraction(beat) - 1, "1", parse_pitch(text),
        )
        for name, measure, beat, text in MUSIC
    }  # fmt: skip


@pytest.fixture
def analysis() -> Analysis:
    """Three measures in two passages; F sharp in two octaves, G flat beside it."""
    at = _places()

    def anchor(note: str, on: str) -> Anchor:
        return Anchor(at[on], between(at[on].pitch, at[note].pitch))

    def accidental(note: str, on: str, runner_up: str | None = None) -> AccidentalNote:
        return AccidentalNote(
            at[note],
            printed=True,
            structural=False,
            open_string=False,
            anchor=anchor(note, on),
            runner_up=anchor(note, runner_up) if runner_up else None,
        )

    def bone(note: str, string: str | None = None) -> SkeletonNote:
        reasons = ("slur", "open-string") if string else ("slur",)
        return SkeletonNote(at[note], reasons, parse_pitch(string) if string else None, 2)

    below, above = Interval(-1, -1), Interval(0, 1)
    part = PartAnalysis(
        "P1",
        INSTRUMENTS["violin"],
        (
            bone("n2", "G3"),
            bone("n4", "D4"),
            bone("n6", "G3"),
            bone("n8"),
            bone("n10", "G3"),
            bone("n12"),
        ),
        (
            accidental("n1", "n2"),
            accidental("n3", "n4", "n2"),
            accidental("n5", "n6"),
            accidental("n7", "n8"),
            accidental("n9", "n10"),
            accidental("n11", "n12", "n10"),
        ),
        (
            MatchGroup(
                "K",
                "P1",
                parse_pitch_class("F#"),
                (4, 5),
                ("n1", "n5", "n9", "n11"),
                (
                    Lean(parse_pitch_class("G"), below, ("n1", "n5", "n9")),
                    Lean(parse_pitch_class("F"), above, ("n11",)),
                ),
            ),
        ),
        (Twins("P1", "A", parse_pitch_class("F#"), parse_pitch_class("Gb")),),
    )
    return Analysis(
        read_bytes(_document(), "etude.musicxml"),
        "second",
        (RuleFit("second", 1.0, 4 / 6, 6), RuleFit("first", 2 / 3, 0.0, 6)),
        (part,),
        (Passage("A", 0, 1, "1", "2"), Passage("=B|", 2, 2, "3", "3")),
        (Notice("odd", "something odd", "P1", "2"),),
        440.0,
    )


@pytest.fixture
def silent(analysis: Analysis) -> Analysis:
    """The same file with no part that could be read."""
    return replace(analysis, score=replace(analysis.score, parts=()), parts=(), passages=())


# --- a small notation for etudes, one string for each voice


@pytest.fixture(scope="session")
def write_etude() -> WriteEtude:
    """Return the function that writes MusicXML from a few letters: see :func:`etude_text`."""
    return etude_text


WriteEtude = Callable[..., bytes]

_TOKEN = re.compile(
    r"(?P<grace>g:)?(?P<pitch>r|[A-G][^:~()]*):?(?P<length>[\d/]*)"
    r"(?P<tie>~?)(?P<slurs>(?:[()]\d*)*)$"
)
_RATIOS = {3: (3, 2), 5: (5, 4), 7: (7, 4)}


def etude_text(
    *voices: str,
    metre: str = "4/4",
    fifths: int = 0,
    decimals: int | None = None,
    name: str = "Violin",
    pickup: str = "0",
) -> bytes:
    """Write an etude. ``F#4:1/2(`` is an eighth that begins a slur; ``|`` are barlines.

    A token is a pitch (``r`` rests, ``A4+C5`` is a chord, ``g:`` before it a grace note), its
    length in quarters, ``~`` where it is tied on, and its slurs' ends with their numbers. Notes
    get ids: ``a1``, ``a2``... in the first voice, ``b1``... in the second; members of a chord
    ``a1.2``. Lengths with a 3, 5 or 7 below are tuplets. ``decimals`` rounds durations as some
    programs do. ``pickup`` is the length of an incomplete first bar in quarters.
    """
    beats, beat_type = metre.split("/")
    full = Fraction(4 * sum(map(int, beats.split("+"))), int(beat_type))
    rows = [voice.split("|") for voice in voices]
    written = []
    held: dict[int, set[str]] = {}
    counts = [0] * len(voices)
    for index in range(max(map(len, rows))):
        body = ""
        if index == 0:
            body = (
                f"<attributes><divisions>{1 if decimals else 1680}</divisions><key><fifths>{fifths}"
                f"</fifths></key><time><beats>{beats}</beats><beat-type>{beat_type}</beat-type>"
                "</time></attributes>"
            )
        for voice, row in enumerate(rows):
            time = Fraction(0)
            for token in row[index].split() if index < len(row) else ():
                counts[voice] += 1
                text, length = _note_text(token, voice, counts[voice], held, decimals)
                body += text
                time += length
            if voice + 1 < len(rows) and time:
                body += f"<backup><duration>{_duration(time, decimals)}</duration></backup>"
        short = index == 0 and Fraction(pickup) not in (0, full)
        implicit = ' implicit="yes"' if short else ""
        written.append(f'<measure number="{index + (not short)}"{implicit}>{body}</measure>')
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1">'
        f"<part-name>{name}</part-name></score-part></part-list>"
        f'<part id="P1">{"".join(written)}</part></score-partwise>'
    ).encode()


def _duration(length: Fraction, decimals: int | None) -> str:
    return str(int(length * 1680)) if decimals is None else f"{float(length):.{decimals}f}"


def _note_text(
    token: str, voice: int, count: int, held: dict[int, set[str]], decimals: int | None
) -> tuple[str, Fraction]:
    found = _TOKEN.match(token)
    assert found is not None, token
    length = Fraction(found["length"] or 0)
    tied_from, held[voice] = held.get(voice, set()), set()
    text = ""
    for member, name in enumerate(found["pitch"].split("+")):
        note_id = f"{'abcd'[voice]}{count}" + (f".{member + 1}" if member else "")
        text += f'<note id="{note_id}">' + ("<grace/>" if found["grace"] else "")
        text += "<chord/>" if member else ""
        if name == "r":
            text += "<rest/>"
        else:
            pitch = parse_pitch(name)
            text += f"<pitch><step>{pitch.step}</step><alter>{pitch.alter}</alter>"
            text += f"<octave>{pitch.octave}</octave></pitch>"
        if not found["grace"]:
            text += f"<duration>{_duration(length, decimals)}</duration>"
        notations = ""
        if name in tied_from:
            text += '<tie type="stop"/>'
            notations += '<tied type="stop"/>'
        if found["tie"]:
            held[voice].add(name)
            text += '<tie type="start"/>'
            notations += '<tied type="start"/>'
        text += f"<voice>{voice + 1}</voice>"
        ratio = next((_RATIOS[n] for n in _RATIOS if length.denominator % n == 0), None)
        if ratio:
            text += f"<time-modification><actual-notes>{ratio[0]}</actual-notes>"
            text += f"<normal-notes>{ratio[1]}</normal-notes></time-modification>"
        for end, number in re.findall(r"([()])(\d*)", found["slurs"]) if not member else ():
            kind = "start" if end == "(" else "stop"
            notations += f'<slur type="{kind}" number="{number or 1}"/>'
        text += (f"<notations>{notations}</notations>" if notations else "") + "</note>"
    return text, length


@pytest.fixture(scope="session")
def scores() -> Path:
    """The folder of the demo etudes."""
    return Path(__file__).parents[2] / "scores"
