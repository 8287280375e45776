"""Short ways to write MusicXML inside a test, and to read it."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from skeleton.score.model import Part, Score
from skeleton.score.reading import read_bytes

ATTRIBUTES = (
    "<attributes><divisions>4</divisions><key><fifths>0</fifths></key>"
    "<time><beats>4</beats><beat-type>4</beat-type></time>"
    "<clef><sign>G</sign><line>2</line></clef></attributes>"
)


def note_xml(
    pitch: str = "A4", duration: int | str | None = 4, inside: str = "", **more: str
) -> str:
    """Return a ``<note>``: ``A4``, ``F#4``, ``Bb3`` or ``r`` for a rest.

    ``slur`` is like ``"start"``, ``"stop 2"`` or ``"stop,start"``; ``tie`` like ``"start"``;
    ``before`` stands at the head of the note (grace, chord, cue); ``voice``, ``staff``,
    ``accidental``, ``attributes`` speak for themselves; ``inside`` goes to the end.
    """
    match = re.fullmatch(r"([A-G])(#*|b*)(-?\d)", pitch)
    if match:
        alter = len(match[2]) * (1 if "#" in match[2] else -1)
        what = (
            f"<pitch><step>{match[1]}</step>"
            + (f"<alter>{alter}</alter>" if alter else "")
            + f"<octave>{match[3]}</octave></pitch>"
        )
    else:
        what = "<rest/>"
    ties = [kind for kind in more.get("tie", "").split(",") if kind]
    slurs = [mark.split() for mark in more.get("slur", "").split(",") if mark]
    notations = "".join(f'<tied type="{kind}"/>' for kind in ties) + "".join(
        f'<slur type="{mark[0]}"' + (f' number="{mark[1]}"/>' if mark[1:] else "/>")
        for mark in slurs
    )
    return (
        f"<note{more.get('attributes', '')}>{more.get('before', '')}{what}"
        + (f"<duration>{duration}</duration>" if duration is not None else "")
        + "".join(f'<tie type="{kind}"/>' for kind in ties)
        + f"<voice>{more.get('voice', '1')}</voice>"
        + (f"<accidental>{more['accidental']}</accidental>" if "accidental" in more else "")
        + (f"<staff>{more['staff']}</staff>" if "staff" in more else "")
        + (f"<notations>{notations}</notations>" if notations else "")
        + inside
        + "</note>"
    )


def score_xml(*parts: str, head: str = "") -> bytes:
    """Return a partwise score of parts called P1, P2...; each is the text of its measures."""
    listed = "".join(
        f'<score-part id="P{place}"><part-name>Part {place}</part-name></score-part>'
        for place in range(1, len(parts) + 1)
    )
    music = "".join(
        f'<part id="P{place}">{text}</part>' for place, text in enumerate(parts, start=1)
    )
    return (
        f'<score-partwise version="4.0">{head}<part-list>{listed}</part-list>{music}'
        "</score-partwise>"
    ).encode()


def measures_xml(*measures: str, attributes: str = ATTRIBUTES) -> str:
    """Return numbered measures, the first with attributes."""
    return "".join(
        f'<measure number="{place}">{attributes if place == 1 else ""}{text}</measure>'
        for place, text in enumerate(measures, start=1)
    )


@pytest.fixture(scope="session")
def note() -> Callable[..., str]:
    return note_xml


@pytest.fixture(scope="session")
def score() -> Callable[..., bytes]:
    return score_xml


@pytest.fixture(scope="session")
def measures() -> Callable[..., str]:
    return measures_xml


@pytest.fixture(scope="session")
def read_score() -> Callable[..., Score]:
    """Read a score of one part from the texts of its measures."""

    def read(*texts: str, attributes: str = ATTRIBUTES) -> Score:
        return read_bytes(score_xml(measures_xml(*texts, attributes=attributes)), "test.musicxml")

    return read


@pytest.fixture(scope="session")
def read_part(read_score: Callable[..., Score]) -> Callable[..., Part]:
    """Read the one part of a score, with nothing odd in it."""

    def read(*texts: str, attributes: str = ATTRIBUTES) -> Part:
        found = read_score(*texts, attributes=attributes)
        assert found.notices == ()
        (part,) = found.parts
        return part

    return read
