"""How well does each rule fit an etude? Its skeleton should be plain, its accidentals close by."""

from pathlib import Path

import skeleton

SCORES = Path(__file__).parents[1] / "scores"

for name in ("first-skeleton", "slurs-of-many-sizes"):
    found = skeleton.analyse(skeleton.read(SCORES / f"{name}.musicxml"))
    print(found.score.title)
    for fit in found.rule_fit:
        print(
            f"  {fit.rule:8} {fit.half_step_share:4.0%} of the accidentals stand a half step from"
            f" their anchor, {fit.unaltered_share:4.0%} of its notes are unaltered"
        )
