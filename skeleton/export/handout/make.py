"""From an analysis to its handout: everything in one call.

The parts can be had one by one: what it says from :mod:`skeleton.export.handout.content`, its
pictures from :mod:`skeleton.export.handout.pictures`, the file from
:mod:`skeleton.export.handout.pdf`.
"""

from __future__ import annotations

from skeleton.analysis.lesson import Lesson
from skeleton.analysis.results import Analysis
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.content import handout_content
from skeleton.export.handout.pdf import handout_pdf
from skeleton.export.handout.pictures import handout_pictures
from skeleton.export.handout.typeset import Paper, Pdf, music_width_mm
from skeleton.export.handout.words import words
from skeleton.intonation.targets import targets


def handout(
    analysis: Analysis,
    lesson: Lesson | None = None,
    engraver: Engraver | None = None,
    *,
    paper: Paper = "a4",
    language: str = "en",
) -> Pdf:
    """Make the handout of an etude as PDF.

    Args:
        analysis: the etude.
        lesson: the lesson the analysis was made with: title, assignment, tempo, goals.
        engraver: a running engraver; one is started and ended where None.
        paper: ``a4`` or ``letter``.
        language: code of a language of :data:`skeleton.export.handout.words.LANGUAGES`.

    Raises:
        OptionError: there is no such language.
        EngravingError: the engraver failed.
        OutputError: the typesetter failed.
    """
    spoken = words(language)
    if engraver is None:
        with Engraver() as own:
            return handout(analysis, lesson, own, paper=paper, language=language)
    found = targets(analysis)
    pictures = handout_pictures(analysis, engraver, spoken, music_width_mm(paper))
    made = handout_pdf(handout_content(analysis, found, spoken, lesson), pictures, paper)
    return Pdf(made.data, (*found.notices, *pictures.notices, *made.notices))
