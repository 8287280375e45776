"""A take judged, written in the format that the output's ending names."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

import typer

from skeleton.cli.delivery import DASH, deliver, deliver_files, show, shows_signs
from skeleton.cli.messages import say
from skeleton.cli.options import Request
from skeleton.errors import OptionError

if TYPE_CHECKING:
    from skeleton.audio.decode import Recording
    from skeleton.audio.resample import Mono
    from skeleton.export.handout.make_page import Page
    from skeleton.listening.ear_marks import Compared, EarTake
    from skeleton.listening.notices import TakeNotice
    from skeleton.listening.pitch_curves import NoteCurve
    from skeleton.listening.report import TakeReport
    from skeleton.score.model import Notice

SUFFIXES: Final = (
    ".svg", ".png", ".pdf", ".html", ".htm", ".musicxml", ".xml", ".json", ".csv", ".txt",
)  # fmt: skip
_PICTURES: Final = (".svg", ".png")
_PAGES: Final = (".html", ".htm")


@dataclass(frozen=True, slots=True)
class Judged:
    """A take judged: report, recording, its samples and their rate, the listener's own marks."""

    report: TakeReport
    recording: Recording
    samples: Mono
    rate: int
    ear: EarTake | None

    @property
    def name(self) -> str:
        """Name of the recording's file."""
        return self.recording.path.name

    @property
    def compared(self) -> tuple[Compared, ...] | None:
        """The listener's marks beside the measured ones."""
        from skeleton.listening.ear_marks import compare  # noqa: PLC0415 - when needed

        return None if self.ear is None else compare(self.ear, self.report.notes)

    @property
    def heard(self) -> tuple[TakeNotice, ...]:
        """What was odd about the recording."""
        from skeleton.listening.notices import recording_notices  # noqa: PLC0415 - loads numpy

        return recording_notices(self.recording.notices)

    def curves(self) -> tuple[NoteCurve, ...]:
        """Return the pitch curves of its notes."""
        from skeleton.listening.pitch_curves import pitch_curves  # noqa: PLC0415 - loads numpy

        return pitch_curves(self.samples, self.rate, self.report)


def format_of(output: Path | None, *, json: bool, curves: bool) -> str:
    """Return the format: what the file's ending says.

    Raises:
        OptionError: no format has this ending.
        typer.BadParameter: two formats were asked for, or curves in one that has none.
    """
    suffix = ".json" if json else ".txt"
    if output not in (None, DASH):
        suffix = output.suffix.lower()
        if json and suffix != ".json":
            raise typer.BadParameter("give --json or an output with another ending, not both")
    if suffix not in SUFFIXES:
        raise OptionError(f"{output}: no format is known by this ending; use {', '.join(SUFFIXES)}")
    if curves and suffix not in _PICTURES:
        raise typer.BadParameter("--curves draws a picture; give --output an ending .svg or .png")
    return suffix


def write(
    request: Request,
    judged: Judged,
    suffix: str,
    *,
    everything: bool,
    curves: bool,
    paper: Literal["a4", "letter"],
    language: str,
    embed_mb: float,
) -> tuple[Notice, ...]:
    """Write the result in a format; return what was odd about that.

    Args:
        request: where to.
        judged: the take.
        suffix: one of :data:`SUFFIXES`.
        everything: the text shows the table of all notes too.
        curves: a picture shows the pitch curves, not the score.
        paper: of a PDF.
        language: of a PDF and a page; everything else is in English, and that is told.
        embed_mb: up to so many megabytes the take is part of a page.

    Raises:
        SkeletonError: it cannot be made or written.
    """
    report, name = judged.report, judged.name
    if language != "en" and suffix not in {".pdf", *_PAGES} and not request.quiet:
        say("note: --language is for .pdf and .html; this is in English")
    if suffix in {".json", ".csv"}:
        from skeleton.export.lists import listen_data as data  # noqa: PLC0415 - when needed

        deliver(
            request,
            data.take_json(report, name, judged.compared, judged.heard)
            if suffix == ".json"
            else data.take_csv(report),
        )
        return ()
    if suffix == ".txt":
        from skeleton.export.lists.listen_text import take_document  # noqa: PLC0415 - when needed

        show(
            request,
            take_document(
                report,
                name,
                judged.compared or (),
                signs=shows_signs(request),
                everything=everything,
            ),
        )
        return ()
    if suffix in {".musicxml", ".xml"}:
        from skeleton.export.engraving import listen_picture  # noqa: PLC0415 - when needed

        music, notices = listen_picture.marked_musicxml(report)
        deliver(request, music)
        return notices
    if suffix == ".pdf":
        from skeleton.export.take.make import listening_sheet  # noqa: PLC0415 - when needed

        sheet = listening_sheet(
            report, judged.curves(), name,
            ear=judged.compared, notices=judged.heard, paper=paper, language=language,
        )  # fmt: skip
        deliver(request, sheet.data)
        return sheet.notices
    if suffix in _PICTURES:
        return _picture(request, judged, suffix, curves=curves)
    return _page(request, judged, language, embed_mb)


def _picture(request: Request, judged: Judged, suffix: str, *, curves: bool) -> tuple[Notice, ...]:
    notices: tuple[Notice, ...] = ()
    if curves:
        from skeleton.export.take.curves_picture import curves_picture  # noqa: PLC0415

        svg = curves_picture(judged.report, judged.curves(), judged.name)
    else:
        from skeleton.export.engraving.listen_picture import marked_picture  # noqa: PLC0415

        svg, notices = marked_picture(judged.report, judged.name)
    if suffix == ".png":
        from skeleton.export.engraving.png import png_bytes  # noqa: PLC0415 - when needed

        deliver(request, png_bytes(svg))
    else:
        deliver(request, svg)
    return notices


def _page(request: Request, judged: Judged, language: str, embed_mb: float) -> tuple[Notice, ...]:
    from skeleton.export.take.make import listening_page  # noqa: PLC0415 - when needed

    output = request.output
    if output is None:
        raise ValueError("a page needs a file to be written to")
    page: Page = listening_page(
        judged.report,
        judged.curves(),
        judged.name,
        judged.samples,
        judged.rate,
        ear=() if judged.ear is None else (judged.ear,),
        notices=judged.heard,
        embed_up_to_mb=embed_mb,
        name=output.stem,
        language=language,
    )
    files: dict[Path, str | bytes] = {output: page.html}
    files |= {output.with_name(name): data for name, data in page.files.items()}
    deliver_files(request, files)
    if page.files and not request.quiet:
        say(f"note: {output}: its sound is beside it; hand them on together")
    return page.notices
