"""Make the handout of an etude as PDF, and one of its parts by itself: a passage's pictures."""

import sys
from pathlib import Path

import skeleton
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.pictures import passage_pictures
from skeleton.export.handout.words import words

SCORES = Path(__file__).parents[1] / "scores"
folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")

score = skeleton.read(SCORES / "first-skeleton.musicxml")
lesson = skeleton.read_lesson(SCORES / "first-skeleton.toml")
found = skeleton.analyse(score, lesson)
with Engraver() as engraver:
    made = skeleton.handout(found, lesson, engraver, paper="a4", language="de")
    (folder / "first-skeleton.pdf").write_bytes(made.data)
    passage = passage_pictures(found, engraver, words("en"), 184.0, "A")
for line in passage.bare:
    print(line.alt)
