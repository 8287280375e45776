"""Engrave the three stages a student walks through, and the full etude with labels."""

import sys
from pathlib import Path

import skeleton
from skeleton.export.engraving.engraver import Engraver

SCORES = Path(__file__).parents[1] / "scores"
folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")

with Engraver() as engraver:  # one engraver for all pictures: it starts only once
    found = skeleton.analyse(skeleton.read(SCORES / "first-skeleton.musicxml"))
    for view in ("bare", "neighbours", "all", "annotated"):
        drawn = skeleton.pictures(found, view, engraver, single=True)
        path = folder / f"first-skeleton-{view}.svg"
        path.write_text(drawn.pages[0], encoding="utf-8")
        print(path.name)
