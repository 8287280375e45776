"""Which note is each accidental tuned from, and which of its returns must match?"""

from pathlib import Path

import skeleton

SCORES = Path(__file__).parents[1] / "scores"

score = skeleton.read(SCORES / "first-skeleton.musicxml")
part = skeleton.analyse(score).parts[0]

for note in part.accidentals[:5]:
    if note.anchor is not None:
        interval = note.anchor.interval
        print(
            f"measure {note.place.measure}, beat {float(note.place.beat):g}: {note.place.pitch},"
            f" {interval.words} {interval.direction} {note.anchor.place.pitch}"
        )
for group in part.matches:
    octaves = ", ".join(map(str, group.octaves))
    print(f"{group.label}: {group.pitch_class} in octave {octaves}, {len(group.notes)} times")
