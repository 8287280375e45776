"""The handout as a page: one HTML file, and beside it the sounds that were too large for it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from skeleton.analysis.analyse import analyse
from skeleton.cli.delivery import deliver_files
from skeleton.cli.messages import notice_lines, say
from skeleton.cli.options import Request
from skeleton.cli.reading import decisions, lesson_of
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.make_page import handout_page
from skeleton.export.lists.words import counted
from skeleton.export.views import musicxml
from skeleton.score.reading import read


def make_page(
    request: Request, language: str, *, with_score: bool, sounds: bool, embed_mb: float
) -> None:
    """Make the page of one etude and write it, with all that belongs to it or not at all.

    Args:
        request: the etude; its output names the page.
        language: code of the language.
        with_score: write the marked etude too, beside the page.
        sounds: whether it has any.
        embed_mb: up to so many megabytes they are part of the page.

    Raises:
        SkeletonError: it cannot be made or written.
        typer.BadParameter: an option fits no score.
    """
    output = request.output
    if output is None:
        raise ValueError("a page needs a file to be written to")
    with Engraver() as engraver:  # gets ready while the score is read
        lesson = replace(lesson_of(request), **decisions(request))
        analysis = analyse(read(request.etude), lesson, part=request.part)
        page = handout_page(
            analysis,
            lesson,
            engraver,
            language=language,
            with_sounds=sounds,
            embed_up_to_mb=embed_mb,
            name=output.stem,
        )
    files: dict[Path, str | bytes] = {output: page.html}
    files |= {output.with_name(name): data for name, data in page.files.items()}
    notices = [*analysis.notices, *page.notices]
    if with_score:
        data, said = musicxml(analysis, "annotated")
        files[output.with_name(f"{output.stem}-annotated.musicxml")] = data
        notices += said
    if not request.quiet:
        for line in notice_lines(notices):
            say(line)
    deliver_files(request, files)
    if page.files and not request.quiet:
        count = counted(len(page.files), "sound file")
        say(f"note: {output}: {count} beside it; hand them out together")
