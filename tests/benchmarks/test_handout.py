"""What a handout costs beside the engraving of its parts (select with --benchmark-enable)."""

from __future__ import annotations

from time import perf_counter

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.export.engraver import Engraver
from skeleton.export.handout.make import handout
from skeleton.export.handout.pdf import music_width_mm
from skeleton.export.handout.pictures import handout_pictures
from skeleton.export.handout.words import words
from skeleton.score.reading import read_bytes

MEASURES = 64
MOST_TIMES_THE_ENGRAVING = 2.0
AND_SECONDS = 1.0


def etude() -> bytes:
    """Return 64 measures in 2/4: sixteenths slurred in pairs, each the half step below the next."""
    pairs = (("F", 1, 4), ("G", 0, 4), ("C", 1, 5), ("D", 0, 5), ("G", 1, 4), ("A", 0, 4))
    measures = []
    for number in range(MEASURES):
        notes = []
        for count in range(8):
            step, alter, octave = pairs[(count + 2 * number) % 6]
            notes.append(
                f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave>"
                "</pitch><duration>1</duration><voice>1</voice><type>16th</type><notations>"
                f'<slur type="{"stop" if count % 2 else "start"}"/></notations></note>'
            )
        attributes = (
            "<attributes><divisions>4</divisions><time><beats>2</beats><beat-type>4</beat-type>"
            "</time></attributes>"
        )
        measures.append(
            f'<measure number="{number + 1}">{"" if number else attributes}{"".join(notes)}'
            "</measure>"
        )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin</part-name>'
        f'</score-part></part-list><part id="P1">{"".join(measures)}</part></score-partwise>'
    ).encode()


@pytest.fixture(scope="module")
def analysis():
    return analyse(read_bytes(etude(), "etude.musicxml"))


def test_handout(benchmark, analysis) -> None:
    with Engraver() as engraver:
        handout(analysis, None, engraver)  # libraries loaded
        made = benchmark(handout, analysis, None, engraver)
        start = perf_counter()
        handout_pictures(analysis, engraver, words("en"), music_width_mm("a4"))
        engraving_s = perf_counter() - start
    assert made.data.startswith(b"%PDF")
    if benchmark.stats is not None:
        limit_s = MOST_TIMES_THE_ENGRAVING * engraving_s + AND_SECONDS
        assert benchmark.stats.stats.median <= limit_s
