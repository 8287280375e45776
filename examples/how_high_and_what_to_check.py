"""How high is each note of the first passage to sound, and how does a player check it?"""

from pathlib import Path

import skeleton
from skeleton.intonation.checks import checks
from skeleton.theory.instrument import INSTRUMENTS
from skeleton.theory.pitch import parse_pitch
from skeleton.theory.strings import pure

SCORES = Path(__file__).parents[1] / "scores"

found = skeleton.analyse(skeleton.read(SCORES / "first-skeleton.musicxml"))
passage = skeleton.targets(found).passages[0]
for target in passage.targets[:4]:
    lean = f", leaning {target.step_cents:.1f} cents" if target.lean is not None else ""
    print(f"{target.pitch}: {target.role}, {target.hz:.2f} Hz{lean}")

violin = pure(INSTRUMENTS["violin"], a4_hz=440.0)
e4 = parse_pitch("E4")
for check in checks(violin, e4, violin.match_hz(e4)).checks:
    print(
        f"E4 on the {check.string} string with open {check.drone}: {check.interval.words}"
        f" {check.interval.direction}, pure at {check.hz:.2f} Hz"
        f" ({check.off_target_cents:+.1f} cents)"
    )
