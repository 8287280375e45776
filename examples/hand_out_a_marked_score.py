"""Write the etude with its labels as MusicXML: the file's own bytes, and what was added."""

import sys
from pathlib import Path

import skeleton

SCORES = Path(__file__).parents[1] / "scores"
folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")

source = SCORES / "flat-side-in-e-flat.musicxml"
found = skeleton.analyse(skeleton.read(source))
marked, notices = skeleton.musicxml(found, "annotated")
(folder / "marked.musicxml").write_bytes(marked)
print(f"{len(marked) - len(source.read_bytes())} bytes added, {len(notices)} notices")
