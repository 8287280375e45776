"""Setting a sheet of paper: data and pictures in, PDF out.

The typesetter gets a folder with a template, what the templates share (``sheet.typ``), the data as
JSON and one SVG for each picture; texts reach it as data and are never part of a template. It
uses this package's fonts and the few it carries itself, so the same input gives the same bytes on
every machine. Only where a text has a character that none of them can draw is it set again with
the machine's own fonts, and the result says so.

Source: ISO 14289-1 (PDF/UA-1), which the typesetter checks as it writes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final, Literal, Protocol

from skeleton.errors import OutputError
from skeleton.export.engraving.typeface import FONT_FOLDER
from skeleton.score.model import Notice

Paper = Literal["a4", "letter"]

MARGIN_MM: Final = 13.0
"""Left and right of the page."""

_WIDTHS_MM: Final[dict[Paper, float]] = {"a4": 210.0, "letter": 215.9}
_NAMES: Final[dict[Paper, str]] = {"a4": "a4", "letter": "us-letter"}
_SHARED: Final = "sheet.typ"
_DATA: Final = "data.json"


class Picture(Protocol):
    """A picture on a sheet: its SVG without fonts, its width, and words for those who hear it."""

    @property
    def svg(self) -> str:
        """Text of the SVG."""

    @property
    def width_mm(self) -> float:
        """Width on paper."""

    @property
    def alt(self) -> str:
        """What it shows, in a sentence."""


@dataclass(frozen=True, slots=True)
class Pdf:
    """The bytes of a PDF file, and what was odd about making it."""

    data: bytes
    notices: tuple[Notice, ...]


def music_width_mm(paper: Paper) -> float:
    """Return the width that music has on a paper."""
    return _WIDTHS_MM[paper] - 2 * MARGIN_MM


def on_paper(paper: Paper) -> dict[str, Any]:
    """Return what the shared template asks for: the name of a paper and its margins."""
    return {"paper": _NAMES[paper], "margin_mm": MARGIN_MM}


class Pictures:
    """Gathers the pictures of one sheet under names of their own."""

    def __init__(self) -> None:
        self.files: dict[str, str] = {}

    def put(self, name: str, pictures: Sequence[Picture]) -> list[dict[str, Any]]:
        """Take pictures and return what a template needs to show them.

        Args:
            name: what their files' names begin with; no two series may have the same.
            pictures: in order.
        """
        found = []
        for place, picture in enumerate(pictures):
            file = f"{name}-{place}.svg"
            self.files[file] = picture.svg
            found.append({"file": file, "width_mm": picture.width_mm, "alt": picture.alt})
        return found


def typeset(
    package: str,
    template: str,
    data: Mapping[str, Any],
    pictures: Pictures,
    *,
    source: str,
    what: str,
) -> Pdf:
    """Set a sheet.

    Args:
        package: the package that the template lies in.
        template: its file name; it reads its data from ``data.json`` and may import ``sheet.typ``.
        data: what the sheet says.
        pictures: what it shows.
        source: name of the score, for messages.
        what: what is set, for messages.

    Raises:
        OutputError: the typesetter failed.
    """
    with TemporaryDirectory() as folder:
        place = Path(folder)
        for name, svg in pictures.files.items():
            (place / name).write_text(svg, encoding="utf-8")
        (place / _DATA).write_text(json.dumps(data, ensure_ascii=True), encoding="ascii")
        for home, name in (("skeleton.export.handout", _SHARED), (package, template)):
            (place / name).write_bytes(files(home).joinpath(name).read_bytes())
        return _compiled(place / template, source, what)


def _compiled(template: Path, source: str, what: str) -> Pdf:
    # Own fonts first; where they lack a character the machine's; the last way gives up the
    # promise to a reader aloud for a sheet that can at least be printed.
    ways: tuple[tuple[bool, list[Any], tuple[Notice, ...]], ...] = (
        (True, ["ua-1"], ()),
        (
            False,
            ["ua-1"],
            (
                Notice(
                    "other-fonts",
                    "a text has characters that this program's fonts lack; set with this "
                    "machine's fonts",
                ),
            ),
        ),
        (
            False,
            [],
            (
                Notice(
                    "no-font",
                    "a text has characters that no font here can draw; the PDF does not meet "
                    "PDF/UA",
                ),
            ),
        ),
    )
    for ignore_system_fonts, standards, notices in ways:
        try:
            data = _compile(template, standards, ignore_system_fonts=ignore_system_fonts)
        except _UndrawableError:
            continue
        except RuntimeError as error:
            said = str(error).splitlines() or ["no reason given"]
            raise OutputError(f"{source}: the {what} could not be set: {said[0]}") from error
        return Pdf(data, notices)
    raise OutputError(f"{source}: the {what} could not be set: no font can draw its texts")


class _UndrawableError(Exception):
    """A text has a character that no font at hand has."""


def _compile(template: Path, standards: list[Any], *, ignore_system_fonts: bool) -> bytes:
    import typst  # noqa: PLC0415 - a large library, needed here only

    try:
        data = typst.compile(
            str(template),
            root=str(template.parent),
            font_paths=[str(FONT_FOLDER)],
            ignore_system_fonts=ignore_system_fonts,
            pdf_standards=standards,
            timestamp=0,
        )
    except typst.TypstError as error:
        if "could not be displayed" in str(error):
            raise _UndrawableError from error
        raise
    assert isinstance(data, bytes)  # noqa: S101 - one PDF and no list of pictures
    return data
