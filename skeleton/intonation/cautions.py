"""What is said to a player beside the music: strings, ears, hands, and what is not promised.

One line each, with where it comes from. Sources were read as abstracts or pages; what rests on
common practice says so. None of it is medical advice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

_PRACTICE: Final = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Caution:
    """One line for a player, and where it comes from."""

    text: str
    source: str


TUNING: Final = Caution(
    "Tune slowly, one string at a time, with your face turned away from the thinnest string.",
    "makers' and teachers' pages (thestringworkshop.net, hellmichviolins.de): most strings break "
    "from over-tightening, pegs move with humidity; the face turned away: " + _PRACTICE,
)

PEGS: Final = Caution(
    "When a peg will not hold, ask a teacher or a maker.",
    "makers' and teachers' pages (thestringworkshop.net, hellmichviolins.de)",
)

HEARING: Final = Caution(
    "Keep a drone quieter than your playing. With headphones adults have 40 hours a week at "
    "80 dB and children at 75 dB, half as long for every 3 dB more; your own playing counts too.",
    "the allowance of ITU-T H.870 and WHO, as summarised at publish.illinois.edu/"
    "augmentedlistening (adults) and in press reports (children); equal energy; violin practice "
    "rooms at 87 to 95 dB(A): Phillips and Mace 2008; quieter than the playing: " + _PRACTICE,
)

BREAKS: Final = Caution(
    "Take breaks. Stop when it hurts, and ask a teacher or a doctor.",
    "breaks and a daily limit: student sheet of NASM and PAMA; stopping when it hurts: "
    + _PRACTICE,
)

LOAD: Final = Caution(
    "Add minutes little by little: players name a sudden jump in load as a cause of pain.",
    "Chan and Ackermann 2014, Frontiers in Psychology, 10.3389/fpsyg.2014.00706; that it "
    "prevents pain is not shown: Rotter et al. 2019",
)

DRONES: Final = Caution(
    "Practise against the drone and listen; players like drones, and studies have not found that "
    "they tune better for them.",
    "no significant gain: beginners n = 50 (osu1429280299, rave.ohiolink.edu), school strings "
    "n = 58 (egrove.olemiss.edu/etd/2448), college winds n = 68 (10.1177/0022429420974389); "
    "liked, n = 152 (eric.ed.gov EJ1240727)",
)

UNDER_CHECKLISTS: Final = (TUNING, PEGS, BREAKS)
"""What stands under every checklist."""

UNDER_TARGETS: Final = (TUNING, PEGS, HEARING, LOAD, BREAKS, DRONES)
"""What stands under targets and drones."""
