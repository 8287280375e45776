"""Which open string serves as drone for a passage, or which two in fifths, and why.

A string serves a skeleton note that stands with it in the chain of fifths without a step between:
the same name, a fifth or a fourth, in any octave. Those are pure with the strings as tuned; thirds
and sixths are not, by a syntonic comma. Two neighbouring strings a fifth (or fourth) apart serve
the notes that both serve. Most notes win; at equal numbers two strings are chosen if the passage
has both their names, then the string whose own name stands oftener, then the lower string.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from skeleton.theory.instrument import Instrument
from skeleton.theory.interval import between
from skeleton.theory.pitch import Pitch, PitchClass


@dataclass(frozen=True, slots=True)
class DroneChoice:
    """The strings to sound under a passage: one, or two neighbours; none where none serves.

    ``served`` of ``notes`` skeleton notes are pure against them; ``why`` says so in a sentence.
    """

    strings: tuple[Pitch, ...]
    served: int
    notes: int
    why: str


def choose_drone(instrument: Instrument, skeleton: Iterable[Pitch]) -> DroneChoice:
    """Choose the drone for a passage.

    Args:
        instrument: its open strings are the choice.
        skeleton: the sounding pitches of the passage's skeleton, each as often as it is played.
    """
    names = Counter(pitch.pitch_class for pitch in skeleton if not pitch.is_microtone)
    total = sum(names.values())
    strings = instrument.open_strings
    options = [(one,) for one in strings] + [
        (low, high) for low, high in pairwise(strings) if between(low, high).name in ("P5", "P4")
    ]

    def rank(option: tuple[Pitch, ...]) -> tuple[int, int, int, int]:
        own = [names[one.pitch_class] for one in option]
        served = sum(_served(option, names).values())
        pair = len(option) > 1 and all(own)
        # One string is the plainer drone where the second adds nothing of its own.
        shape = 1 if pair else -1 if len(option) > 1 else 0
        return served, shape, sum(own), -strings.index(option[0])

    best = max(options, key=rank)
    served = _served(best, names)
    count = sum(served.values())
    if not count:
        return DroneChoice((), 0, total, "no open string is pure against any of its skeleton notes")
    listed = ", ".join(f"{times} {name}" for name, times in served.most_common())
    return DroneChoice(
        best,
        count,
        total,
        f"{count} of {total} skeleton notes are pure against "
        f"{'both' if len(best) > 1 else 'it'} ({listed})",
    )


def _served(option: tuple[Pitch, ...], names: Counter[PitchClass]) -> Counter[PitchClass]:
    return Counter(
        {
            name: times
            for name, times in names.items()
            if all(abs(name.line_of_fifths - one.pitch_class.line_of_fifths) <= 1 for one in option)
        }
    )
