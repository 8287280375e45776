"""What the commands that draw have in common: formats by file ending, pages into files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import typer

from skeleton.cli.delivery import DASH, deliver, deliver_files
from skeleton.cli.messages import notice_lines, say
from skeleton.cli.options import Request

if TYPE_CHECKING:
    from collections.abc import Sequence

    from skeleton.analysis.results import Analysis
    from skeleton.export.views import View

SUFFIXES: Final = (".svg", ".png", ".musicxml", ".xml")


def draw(
    request: Request,
    view: View,
    *,
    single: bool,
    dpi: float,
    in_words: bool = False,
    keep_open_strings: bool = False,
) -> None:
    """Read, analyse and write one view of the etude in the format that the file's ending names.

    Raises:
        typer.BadParameter: no format has this ending.
        SkeletonError: anything else that keeps the result from being made.
    """
    suffix = _suffix(request.output)
    if suffix in {".musicxml", ".xml"}:
        from skeleton.cli.reading import analysis_of  # noqa: PLC0415 - not needed for --help
        from skeleton.export.views import musicxml  # noqa: PLC0415

        analysis = _keeping(analysis_of(request), keep_open_strings=keep_open_strings)
        data, notices = musicxml(analysis, view, in_words=in_words)
        deliver(request, data)
    else:
        from skeleton.export.engraving.engraver import Engraver  # noqa: PLC0415

        with Engraver() as engraver:  # gets ready while the score is read
            from skeleton.cli.reading import analysis_of  # noqa: PLC0415
            from skeleton.export.views import pictures  # noqa: PLC0415

            analysis = _keeping(analysis_of(request), keep_open_strings=keep_open_strings)
            to_stdout = request.output in (None, DASH)
            drawn = pictures(
                analysis, view, engraver, single=single or to_stdout, in_words=in_words
            )
            notices = drawn.notices
        if suffix == ".png":
            from skeleton.export.engraving.png import png_bytes  # noqa: PLC0415

            _deliver_pages(request, [png_bytes(page, dpi=dpi) for page in drawn.pages])
        else:
            _deliver_pages(request, drawn.pages)
    if not request.quiet:
        for line in notice_lines(notices):
            say(line)


def _keeping(analysis: Analysis, *, keep_open_strings: bool) -> Analysis:
    return replace(analysis, keep_open_strings=True) if keep_open_strings else analysis


def _suffix(output: Path | None) -> str:
    suffix = ".svg" if output in (None, DASH) else output.suffix.lower()
    if suffix not in SUFFIXES:
        raise typer.BadParameter(
            f"{output}: no format is known by this ending; use {', '.join(SUFFIXES)}",
            param_hint="--output",
        )
    return suffix


def _deliver_pages(request: Request, pages: Sequence[str | bytes]) -> None:
    """Write one page to the file that was named, several to numbered files beside it."""
    output = request.output
    if len(pages) == 1 or output is None or output == DASH:
        deliver(request, pages[0])
        return
    files = {
        output.with_name(f"{output.stem}-{number}{output.suffix}"): page
        for number, page in enumerate(pages, start=1)
    }
    deliver_files(request, files)
    if not request.quiet:
        say(f"note: {len(files)} pages: {', '.join(path.name for path in files)}")
