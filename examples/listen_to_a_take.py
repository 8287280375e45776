"""Judge a take and make what a student takes away: a sheet of paper, and a page that plays it.

No recording is shipped. So the take is a practice track, with every C sharp played 25 cents low.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

import skeleton
from skeleton.audio.decode import RATE
from skeleton.export.lists.listen_text import finding_text
from skeleton.export.take.make import listening_page, listening_sheet
from skeleton.export.tracks.practice import practice
from skeleton.export.tracks.track import track_blocks
from skeleton.listening.listen import listen
from skeleton.listening.pitch_curves import pitch_curves

SCORES = Path(__file__).parents[1] / "scores"
folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")

lesson = skeleton.read_lesson(SCORES / "first-skeleton.toml")
etude = skeleton.analyse(skeleton.read(SCORES / "first-skeleton.musicxml"), lesson)
places = [note.place for note in etude.parts[0].accidentals]
low = {place.id for place in places if str(place.pitch.pitch_class) == "C#"}
track = practice(skeleton.targets(etude), "A", "all", (60.0,)).schedule
events = [
    replace(event, hz=event.hz * 2 ** (-25 / 1200)) if event.note in low else event
    for event in track.events
    if event.kind == "note"
]
samples = np.concatenate(list(track_blocks(replace(track, events=tuple(events)), RATE)))

strings_hz = (440 * 4 / 9, 440 * 2 / 3, 440.0, 660.0)
report = listen(etude, samples, RATE, passage="A", strings_hz=strings_hz)
for finding in report.findings:
    print(finding_text(finding, report))
curves = pitch_curves(samples, RATE, report)
sheet = listening_sheet(report, curves, "a track with low C sharps")
(folder / "marks.pdf").write_bytes(sheet.data)
page = listening_page(report, curves, "a track with low C sharps", samples, RATE)
(folder / "marks.html").write_text(page.html, encoding="utf-8")
