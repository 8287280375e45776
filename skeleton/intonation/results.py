"""How high every note of an etude is to sound: target, band, lean, and what it must match.

Per passage and part, in score order and without repeats: a note that returns with the same anchor
and the same target is one :class:`Target` with all its places.

Roles
-----
``fixed``
    Named like an open string: whole octaves from that string as it is tuned. No band; a stated
    tolerance for measuring. This comes first: an accidental named like an open string is fixed.
``accidental``
    Altered against the key: hangs on its anchor. A half step has the band of half steps.
``skeleton``
    Any other structural note: where the system has it, in the hull of the three systems.

Cents "above equal" count from equal temperament of the same A4, the one the strings give: what a
tuner set to that A4 shows. Frequencies are of sounding pitches, in Hz.

In just intonation a note's target is pure against the named drone. There a half step that nobody
chose has the band of any other note, the hull of the systems; :attr:`Target.step_cents` says how
far from its anchor that puts it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from skeleton.analysis.results import Analysis, Anchor, Passage, Place
from skeleton.intonation.bands import Band
from skeleton.intonation.drones import DroneChoice
from skeleton.intonation.leans import Lean
from skeleton.intonation.reference import Reference
from skeleton.score.model import Notice
from skeleton.theory.instrument import Instrument
from skeleton.theory.pitch import Pitch
from skeleton.theory.tuning import System

Role = Literal["fixed", "skeleton", "accidental"]


@dataclass(frozen=True, slots=True)
class Target:
    """Where one note is to sound.

    Attributes:
        pitch: as written.
        sounding: as it sounds; the same unless the part transposes.
        role: what decides its place; see the module.
        hz: the target.
        equal_cents: the target above equal temperament of the same A4.
        system: the system that gave the target; None where a string or a lean did.
        string: the open string it follows, and ``octaves`` how many above it; fixed notes only.
        tolerance_cents: what a measured fixed note may be off; other notes have a ``band``.
        anchor: what an accidental is tuned from (fixed accidentals have one too), or None.
        lean: the half step by which it leans on its anchor, or None where it does not.
        step_cents: the distance from its anchor's target, positive in the interval's own
            direction; None without an anchor.
        match: label of its match group, with the octaves in which that returns.
        places: where the note stands in this passage.
    """

    pitch: Pitch
    sounding: Pitch
    role: Role
    hz: float
    equal_cents: float
    system: System | None
    string: Pitch | None
    octaves: int | None
    tolerance_cents: float | None
    band: Band | None
    anchor: Anchor | None
    lean: Lean | None
    step_cents: float | None
    match: str | None
    match_octaves: tuple[int, ...]
    places: tuple[Place, ...]

    @property
    def in_band(self) -> bool:
        """Whether the target lies in its own band; a fixed note has none and is always exact."""
        if self.band is None:
            return True
        if self.band.measured_from == "anchor":
            return self.lean is not None and self.band.holds(self.lean.cents)
        return self.band.holds(self.equal_cents)


@dataclass(frozen=True, slots=True)
class PassageTargets:
    """The targets of one passage in one part, in score order, and the drone that suits it."""

    passage: Passage
    part: str
    reference: Reference
    targets: tuple[Target, ...]
    drone: DroneChoice

    @property
    def instrument(self) -> Instrument:
        """The instrument of the part."""
        return self.reference.tuning.instrument


@dataclass(frozen=True, slots=True)
class EtudeTargets:
    """The targets of an etude, passage after passage, and what a player should be told."""

    analysis: Analysis
    system: System
    passages: tuple[PassageTargets, ...]
    notices: tuple[Notice, ...]
