"""The pictures of a take: its music line by line, with the marks or bare, and its curves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from skeleton.export.engraving.engraver import Engraver
from skeleton.export.engraving.listen_picture import take_systems
from skeleton.export.engraving.svg import write
from skeleton.export.handout.pictures import System
from skeleton.export.lists.words import one_line
from skeleton.export.take.plots import PassagePlots, take_plots
from skeleton.export.take.words import TakeWords
from skeleton.listening.pitch_curves import NoteCurve
from skeleton.listening.report import TakeReport
from skeleton.score.model import Notice


@dataclass(frozen=True, slots=True)
class TakePictures:
    """Lines of music, rows of curves, and what was odd."""

    music: tuple[System, ...]
    curves: tuple[PassagePlots, ...]
    notices: tuple[Notice, ...]


def take_pictures(
    report: TakeReport,
    curves: Sequence[NoteCurve],
    engraver: Engraver,
    width_mm: float,
    words: TakeWords,
    *,
    marked: bool,
) -> TakePictures:
    """Engrave and draw what a sheet or a page shows of a take.

    Args:
        report: the take judged.
        curves: of its attempts, :func:`skeleton.listening.pitch_curves.pitch_curves`.
        engraver: a running engraver.
        width_mm: width of music and curves.
        words: the language.
        marked: whether the music bears the marks of the take.

    Raises:
        EngravingError: the engraver failed.
    """
    pages, spans, missing = take_systems(report, engraver, width_mm, marked=marked)
    numbers = [
        one_line(one.number) for one in report.analysis.score.part(report.part.part).measures
    ]
    phrases = words.shared.phrases
    what = words.say.marked_etude if marked else phrases.whole_etude
    music = []
    for page, (first, last) in zip(pages, spans, strict=True):
        where = words.measures(numbers[first], numbers[last])
        music.append(
            System(
                write(page, fonts=False),
                page.frame.width * page.unit_mm,
                page.frame.height * page.unit_mm,
                phrases.picture.format(what=what, measures=where),
            )
        )
    lost = f"the engraver left out {len(missing)} marked notes: {', '.join(missing[:3])}"
    notices = (Notice("not-drawn", lost),) if missing else ()
    return TakePictures(tuple(music), take_plots(report, curves, width_mm, words), notices)
