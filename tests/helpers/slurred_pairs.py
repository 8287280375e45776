"""The smallest etude: quarters in 4/4 without key signature, slurred two by two."""

from __future__ import annotations

from collections.abc import Iterable

from skeleton.theory.pitch import Pitch, parse_pitch


def slurred_pairs(
    pitches: Iterable[Pitch | str],
    *,
    ids: str = "",
    first_id: int = 1,
    attributes: str = "",
    divisions: int = 1,
    voice: str = "1",
    slur: int = 1,
) -> bytes:
    """Return the etude as MusicXML.

    Args:
        pitches: its notes; where they are odd in number, the last has no slur.
        ids: what the notes' ids begin with, a count behind it; without it, notes have none.
        first_id: where that count begins.
        attributes: what else stands in the attributes of the first measure.
        divisions: of a quarter.
        voice: of all notes.
        slur: the number of all slurs.
    """
    named = [parse_pitch(one) if isinstance(one, str) else one for one in pitches]
    notes = []
    for place, pitch in enumerate(named):
        ident = f' id="{ids}{place + first_id}"' if ids else ""
        alone = place + 1 == len(named) and place % 2 == 0
        kind = "stop" if place % 2 else "start"
        notations = "" if alone else f'<notations><slur type="{kind}" number="{slur}"/></notations>'
        notes.append(
            f"<note{ident}><pitch><step>{pitch.step}</step><alter>{pitch.alter}</alter>"
            f"<octave>{pitch.octave}</octave></pitch><duration>{divisions}</duration>"
            f"<voice>{voice}</voice>{notations}</note>"
        )
    head = (
        f"<attributes><divisions>{divisions}</divisions><time><beats>4</beats>"
        f"<beat-type>4</beat-type></time>{attributes}</attributes>"
    )
    measures = [
        f'<measure number="{first // 4 + 1}">{"" if first else head}'
        f"{''.join(notes[first : first + 4])}</measure>"
        for first in range(0, len(notes), 4)
    ]
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1">'
        "<part-name>Violin</part-name></score-part></part-list>"
        f'<part id="P1">{"".join(measures)}</part></score-partwise>'
    ).encode()
