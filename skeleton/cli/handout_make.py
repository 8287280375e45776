"""One etude to one handout, as PDF or as a page, with all that lies beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson
from skeleton.analysis.results import Analysis
from skeleton.cli.handout_job import Wanted
from skeleton.cli.options import Request
from skeleton.cli.reading import decisions, lesson_of
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.make import handout
from skeleton.export.views import musicxml
from skeleton.export.writing import encoded
from skeleton.score.model import Notice
from skeleton.score.reading import read


@dataclass(frozen=True, slots=True)
class Made:
    """A handout, the files beside it by name, how many of them are sounds, and what was odd."""

    data: bytes
    beside: Mapping[str, bytes]
    sounds: int
    notices: tuple[Notice, ...]


def make(request: Request, wanted: Wanted, engraver: Engraver, *, name: str) -> Made:
    """Make the handout of one etude.

    Args:
        request: the etude.
        wanted: how.
        engraver: a running engraver.
        name: what the names of the files beside it begin with.

    Raises:
        SkeletonError: it cannot be made.
        typer.BadParameter: an option fits no score.
    """
    lesson = replace(lesson_of(request), **decisions(request))
    analysis = analyse(read(request.etude), lesson, part=request.part)
    if wanted.form == "html":
        made = _page(analysis, lesson, wanted, engraver, name)
    else:
        pdf = handout(analysis, lesson, engraver, paper=wanted.paper, language=wanted.language)
        made = Made(pdf.data, {}, 0, pdf.notices)
    made = replace(made, notices=(*analysis.notices, *made.notices))
    if not wanted.with_score:
        return made
    score, said = musicxml(analysis, "annotated")
    return replace(
        made,
        beside={**made.beside, f"{name}-annotated.musicxml": encoded(score)},
        notices=(*made.notices, *said),
    )


def _page(
    analysis: Analysis, lesson: Lesson, wanted: Wanted, engraver: Engraver, name: str
) -> Made:
    from skeleton.export.handout.make_page import handout_page  # noqa: PLC0415 - brings numpy

    page = handout_page(
        analysis,
        lesson,
        engraver,
        language=wanted.language,
        with_sounds=wanted.sounds,
        embed_up_to_mb=wanted.embed_mb,
        name=name,
    )
    return Made(encoded(page.html), dict(page.files), len(page.files), page.notices)
