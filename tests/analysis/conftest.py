"""A short way to write music in a test: one line of text per voice, read through the reader.

Notes are quarters (``:1/2`` gives another length in quarters); ``F#4!`` prints its sign, ``gD5``
is a grace note, ``A4+C5`` a chord, ``r`` a rest, ``h`` a hidden rest, ``qD5`` a cue note. ``(``
and ``)`` are slur ends, nested ones too; ``~`` before or after a note is a tie; ``^`` after it a
fermata; ``|`` a barline. The notes of the first voice are n1, n2 ... in order (chord members
count on), those of the second m1, m2 ...; other parts put their number before it ("p2n1").
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import pytest

from skeleton.score.model import Score
from skeleton.score.reading import read_bytes
from skeleton.theory.pitch import parse_pitch

DIVISIONS = 120
SIGNS = {0: "natural", 1: "sharp", -1: "flat", 2: "double-sharp", -2: "flat-flat"}
TOKEN = re.compile(r"(\(*)([gqrh]?)([^()^:]*)((?::\d+(?:/\d+)?)?)(\^?)(\)*)")


@dataclass(frozen=True, slots=True)
class PartText:
    """One part: a line per voice; ``starts`` and ``ends`` are raw XML by measure, from 0."""

    voices: str | Sequence[str]
    key: int | None = 0
    time: str = "4/4"
    name: str | None = "Violin"
    attributes: str = ""
    starts: Mapping[int, str] = field(default_factory=dict)
    ends: Mapping[int, str] = field(default_factory=dict)
    pickup: bool = False


def document(*parts: PartText, order: Sequence[int] | None = None) -> bytes:
    """Return MusicXML; ``order`` permutes the parts, which keep their ids."""
    order = range(len(parts)) if order is None else order
    names = "".join(
        f'<score-part id="P{i + 1}"><part-name>{parts[i].name or ""}</part-name></score-part>'
        for i in order
    )
    bodies = "".join(f'<part id="P{i + 1}">{_body(parts[i], i)}</part>' for i in order)
    return (
        f'<score-partwise version="4.0"><part-list>{names}</part-list>{bodies}</score-partwise>'
    ).encode()


def _body(part: PartText, place: int) -> str:
    voices = [part.voices] if isinstance(part.voices, str) else list(part.voices)
    prefix = "" if place == 0 else f"p{place + 1}"
    streams = [
        _Voice(f"{prefix}{'nmkj'[number]}", number + 1).measures(text)
        for number, text in enumerate(voices)
    ]
    beats, beat_type = part.time.rsplit("/", 1)
    key = "" if part.key is None else f"<key><fifths>{part.key}</fifths></key>"
    first = (
        f"<attributes><divisions>{DIVISIONS}</divisions>{key}<time><beats>{beats}</beats>"
        f"<beat-type>{beat_type}</beat-type></time>{part.attributes}</attributes>"
    )
    out = []
    for index in range(len(streams[0])):
        number = index if part.pickup else index + 1
        implicit = ' implicit="yes"' if part.pickup and index == 0 else ""
        notes = streams[0][index][0]
        length = streams[0][index][1]
        for stream in streams[1:]:
            notes += f"<backup><duration>{length}</duration></backup>" if length else ""
            notes += stream[index][0]
            length = stream[index][1]
        out.append(
            f'<measure number="{number}"{implicit}>{part.starts.get(index, "")}'
            f"{first if index == 0 else ''}{notes}{part.ends.get(index, '')}</measure>"
        )
    return "".join(out)


class _Voice:
    """Writes one voice; slurs stay open over barlines."""

    def __init__(self, prefix: str, voice: int) -> None:
        self.prefix, self.voice = prefix, voice
        self.count, self.open = 0, []

    def measures(self, text: str) -> list[tuple[str, int]]:
        return [self._measure(part.split()) for part in text.split("|")]

    def _measure(self, tokens: list[str]) -> tuple[str, int]:
        xml, length = "", 0
        for token in tokens:
            opens, kind, body, duration, fermata, closes = TOKEN.fullmatch(token).groups()
            value = Fraction(duration[1:]) if duration else Fraction(1)
            ticks = value * DIVISIONS
            assert ticks.denominator == 1
            marks = "".join(f'<slur type="stop" number="{self.open.pop()}"/>' for _ in closes)
            for _ in opens:
                self.open.append(len(self.open) + 1)
                marks += f'<slur type="start" number="{self.open[-1]}"/>'
            marks += "<fermata/>" if fermata else ""
            for place, member in enumerate([body] if kind in "rh" and kind else body.split("+")):
                xml += self._note(kind, member, int(ticks), place > 0, marks)
                marks = ""
            if kind != "g":
                length += int(ticks)
        return xml, length

    def _note(self, kind: str, text: str, ticks: int, chord: bool, marks: str) -> str:
        if kind in ("r", "h"):
            hidden = ' print-object="no"' if kind == "h" else ""
            notations = f"<notations>{marks}</notations>" if marks else ""
            return (
                f"<note{hidden}><rest/><duration>{ticks}</duration>"
                f"<voice>{self.voice}</voice>{notations}</note>"
            )
        self.count += 1
        before, after, signed = text.startswith("~"), text.endswith("~"), "!" in text
        pitch = parse_pitch(text.strip("~!").replace("!", ""))
        ties = ('<tie type="stop"/>' if before else "") + ('<tie type="start"/>' if after else "")
        tied = ties.replace("<tie ", "<tied ")
        sign = f"<accidental>{SIGNS[pitch.alter]}</accidental>" if signed else ""
        length = "" if kind == "g" else f"<duration>{ticks}</duration>"
        return (
            f'<note id="{self.prefix}{self.count}">{"<grace/>" if kind == "g" else ""}'
            f"{'<cue/>' if kind == 'q' else ''}{'<chord/>' if chord else ''}"
            f"<pitch><step>{pitch.step}</step><alter>{pitch.alter}</alter>"
            f"<octave>{pitch.octave}</octave></pitch>{length}{ties}<voice>{self.voice}</voice>"
            f"{sign}<notations>{tied}{marks}</notations></note>"
        )


class Music:
    """What tests use: ``music("...")`` reads one part, ``music.score(part, ...)`` several."""

    part = staticmethod(PartText)
    document = staticmethod(document)

    def __call__(self, voices: str | Sequence[str], **options: object) -> Score:
        return self.score(PartText(voices, **options))

    def score(self, *parts: PartText, order: Sequence[int] | None = None) -> Score:
        return read_bytes(document(*parts, order=order), "test.musicxml")


@pytest.fixture(scope="session")
def music() -> Music:
    return Music()
