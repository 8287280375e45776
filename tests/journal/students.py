"""Students with known habits: takes made by rule, with a seed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import date, timedelta
from random import Random

from slurred_pairs import slurred_pairs

from skeleton.analysis.analyse import analyse
from skeleton.analysis.results import Analysis
from skeleton.journal.content import content_id, note_keys
from skeleton.journal.records import Days, Music
from skeleton.journal.take import MeasuredNote, MeasuredTake
from skeleton.listening.verdict import verdict
from skeleton.score.reading import read_bytes

PITCHES = "F#4 G4 C#5 D5 F#5 G5 Bb4 A4 C#5 D5 F#4 G4 Bb4 A4 G#4 A4 F#5 G5 C#4 D4 Bb3 A3 G#5 A5"
TOLERANCE_CENTS = 8.0
U_CENTS = 3.0
SCATTER_CENTS = 5.0
"""How far a practised hand scatters from day to day: a choice of these tests, from no source."""

FIRST_DAY = date(2026, 1, 5)

Habit = Callable[[float, Random], float]
"""From the share of the days gone by, 0 to 1, and chance to a deviation in cents."""


def no_habit(_: float, chance: Random) -> float:
    return chance.gauss(0, SCATTER_CENTS)


def flat_by_15(_: float, chance: Random) -> float:
    return chance.gauss(-15, SCATTER_CENTS)


def drifts_flat(gone: float, chance: Random) -> float:
    return chance.gauss(-25 * gone, SCATTER_CENTS)


def scatters(_: float, chance: Random) -> float:
    return chance.gauss(0, 25)


def improves(gone: float, chance: Random) -> float:
    return chance.gauss(-25 * (1 - gone), SCATTER_CENTS)


def document(pitches: Iterable[str], *, reexported: bool = False) -> bytes:
    """Return slurred pairs of quarters in 4/4; reexported: other ids, divisions, voice, numbers."""
    if not reexported:
        return slurred_pairs(pitches)
    return slurred_pairs(pitches, ids="x", first_id=0, divisions=12, voice="5", slur=2)


def analysed(*, reexported: bool = False) -> tuple[Analysis, Music]:
    data = document(PITCHES.split(), reexported=reexported)
    analysis = analyse(read_bytes(data, "etude.musicxml"))
    score = analysis.score
    return analysis, Music(content_id(score), "A made one", note_keys(score))


def take(music: Music, day: int, habits: Mapping[str, Habit], chance: Random, days: int = 20):
    """Return one take; ``habits`` name the pitch class or pitch they belong to."""
    notes = []
    for note, key in music.keys.items():
        pitch = key.split(":")[2]
        habit = habits.get(pitch) or habits.get(pitch[:-1]) or no_habit
        deviation = habit(day / max(1, days - 1), chance)
        notes.append(
            MeasuredNote(
                note,
                deviation,
                U_CENTS,
                verdict(deviation, U_CENTS, TOLERANCE_CENTS),
                lean_cents=90.2 - deviation,
                confidence=0.9,
            )
        )
    when = (FIRST_DAY + timedelta(days=day)).isoformat()
    return MeasuredTake(f"{when}T17:00:00", tuple(notes), "take.wav")


def days_of(music: Music, habits: Mapping[str, Habit], seed: int, days: int = 20) -> list[Days]:
    """Return what the journal would answer for one take a day, without a journal."""
    chance = Random(seed)
    takes = [take(music, day, habits, chance, days).notes for day in range(days)]
    ordinals = tuple(FIRST_DAY.toordinal() + day for day in range(days))
    return [
        Days(
            music.keys[played[0].note],
            ordinals,
            tuple(one.deviation_cents for one in played),
            (1,) * days,
            *(
                tuple(int(one.verdict == verdict) for one in played)
                for verdict in ("in tune", "flat", "sharp")
            ),
            tuple(one.lean_cents for one in played),
        )
        for played in zip(*takes, strict=True)
    ]
