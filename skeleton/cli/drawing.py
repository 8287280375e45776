"""What the commands that draw have in common: formats by file ending, pages into files."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import typer

from skeleton.cli.delivery import DASH, deliver, deliver_files
from skeleton.cli.messages import notice_lines, say
from skeleton.cli.options import Request

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

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
    if output is None or output == DASH:
        deliver(request, pages[0])
        return
    files = dict(zip(_page_names(output, len(pages)), pages, strict=True))
    deliver_files(request, files)
    if len(files) > 1 and not request.quiet:
        say(f"note: {len(files)} pages: {', '.join(path.name for path in files)}")
    old = _old_pages(output, files)
    if old:
        # Said even to those who want no notes: on paper nobody sees that a page is of last week.
        named = ", ".join(path.name for path in old)
        say(f"warning: {named}: no page of this print, but named like one; remove what is old")


def _page_names(output: Path, count: int) -> list[Path]:
    if count == 1:
        return [output]
    return [output.with_name(f"{output.stem}-{n}{output.suffix}") for n in range(1, count + 1)]


def _old_pages(output: Path, written: Collection[Path]) -> list[Path]:
    """Files that an earlier and longer print may have left, or one that had a single page."""
    page = re.compile(re.escape(output.stem) + r"(?:-([1-9][0-9]*))?" + re.escape(output.suffix))
    try:
        found = [(page.fullmatch(path.name), path) for path in output.parent.iterdir()]
    except OSError:
        return []
    old = [(int(match[1] or 0), path) for match, path in found if match and path not in written]
    return [path for _, path in sorted(old)]
