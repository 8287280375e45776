"""A lesson file overrules the rule for single notes, names the passages, chooses the tuning."""

import sys
from pathlib import Path

import skeleton

SCORES = Path(__file__).parents[1] / "scores"
folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")

LESSON = """
a4_hz = 442
rule = "second"

[[passage]]
name = "opening"
measures = "1-4"

[[note]]
measure = "1"
beat = 1.25
skeleton = false
"""

path = folder / "lesson.toml"
path.write_text(LESSON, encoding="utf-8")
score = skeleton.read(SCORES / "first-skeleton.musicxml")
before = skeleton.analyse(score)
after = skeleton.analyse(score, skeleton.read_lesson(path))
counts = [len(found.parts[0].skeleton) for found in (before, after)]
print(f"skeleton notes: {counts[0]} before, {counts[1]} after")
print(f"first passage: {after.passages[0].name}, A4 = {after.a4_hz:g} Hz")
