"""From targets to a practice track: which notes, at which frequencies, when, over which drone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from skeleton.export.tracks.excerpt import Stage, excerpt, passage_named
from skeleton.export.tracks.schedule import Schedule, ladder, schedule
from skeleton.export.tracks.sounding import (
    chosen_drone,
    named_drone,
    note_hz,
    pitch_hz,
    reference_of,
)
from skeleton.intonation.results import EtudeTargets
from skeleton.theory.pitch import Pitch

AUTO: Final = "auto"
"""As a drone: the open strings that serve the passage best."""

DEFAULT_TEMPO: Final = 40.0
DEFAULT_STEP: Final = 4.0


@dataclass(frozen=True, slots=True)
class Practice:
    """A track ready to be written, the drone it has, and why it is that one, where a rule chose.

    ``instrument`` is the name of the first part's.
    """

    schedule: Schedule
    drone: tuple[Pitch, ...]
    why: str
    instrument: str


def tempos(
    tempo: float | None = None,
    slowest: float | None = None,
    fastest: float | None = None,
    step: float | None = None,
) -> tuple[float, ...]:
    """Return the tempos of a track: a ladder where one is given, else one tempo.

    Raises:
        OptionError: a tempo or the step is out of range.
    """
    if slowest is not None and fastest is not None:
        return ladder(slowest, fastest, DEFAULT_STEP if step is None else step)
    return (DEFAULT_TEMPO if tempo is None else tempo,)


def practice(
    found: EtudeTargets,
    passage: str | None,
    stage: Stage,
    at_tempos: Sequence[float] = (DEFAULT_TEMPO,),
    *,
    times: int = 1,
    echo_bars: int = 0,
    drone: Sequence[str] | Literal["auto"] = AUTO,
) -> Practice:
    """Return the practice track of a passage.

    Args:
        found: the targets of the whole etude.
        passage: its name; the whole etude where None.
        stage: ``bare``, ``neighbours`` or ``all``.
        at_tempos: beats a minute, one after the other.
        times: rounds at each tempo.
        echo_bars: bars after which the student answers; 0 for none.
        drone: ``auto``, or names of pitches and open strings; empty for none.

    Raises:
        OptionError: there is no such passage or pitch, nothing to play, or a value is out of
            range.
    """
    wanted = passage_named(found.analysis, passage)
    music = excerpt(found.analysis, wanted, stage)
    reference = reference_of(found)
    why = ""
    if drone == AUTO:
        pitches, why = chosen_drone(found, wanted)
    else:
        pitches = named_drone(reference, drone)
    made = schedule(
        music,
        note_hz(found, {note.note for note in music.notes}),
        at_tempos,
        times=times,
        echo_bars=echo_bars,
        drone_hz=[pitch_hz(reference, one) for one in pitches],
    )
    return Practice(made, pitches, why, reference.tuning.instrument.name)
