"""The handout as PDF: vectors, fonts embedded, text selectable, tagged to PDF/UA-1.

The typesetter gets a folder with the template, the data as JSON and one SVG for each line of
music; texts reach it as data and are never part of the template. It uses this package's fonts
and the few it carries itself, so the same input gives the same bytes on every machine. Only
where a text has a character that none of them can draw is it set again with the machine's own
fonts, and the result says so.

Source: ISO 14289-1 (PDF/UA-1), which the typesetter checks as it writes.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final, Literal

from skeleton.errors import OutputError
from skeleton.export.engraving.typeface import FONT_FOLDER
from skeleton.export.handout.content import Handout
from skeleton.export.handout.pictures import HandoutPictures, System
from skeleton.score.model import Notice

Paper = Literal["a4", "letter"]

MARGIN_MM: Final = 13.0
"""Left and right of the page."""

_WIDTHS_MM: Final[dict[Paper, float]] = {"a4": 210.0, "letter": 215.9}
_NAMES: Final[dict[Paper, str]] = {"a4": "a4", "letter": "us-letter"}
_TEMPLATE: Final = "handout.typ"


@dataclass(frozen=True, slots=True)
class Pdf:
    """The bytes of a PDF file, and what was odd about making it."""

    data: bytes
    notices: tuple[Notice, ...]


def music_width_mm(paper: Paper) -> float:
    """Return the width that music has on a paper."""
    return _WIDTHS_MM[paper] - 2 * MARGIN_MM


def handout_pdf(content: Handout, pictures: HandoutPictures, paper: Paper = "a4") -> Pdf:
    """Set a handout.

    Args:
        content: what it says.
        pictures: its pictures, engraved at :func:`music_width_mm` of that paper.
        paper: ``a4`` or ``letter``.

    Raises:
        OutputError: the typesetter failed.
    """
    with TemporaryDirectory() as folder:
        place = Path(folder)
        _fill(place, content, pictures, paper)
        return _compiled(place, content.source)


def _fill(folder: Path, content: Handout, pictures: HandoutPictures, paper: Paper) -> None:
    """Write everything the typesetter reads."""

    def put(name: str, systems: Sequence[System]) -> list[dict[str, Any]]:
        found = []
        for place, system in enumerate(systems):
            file = f"{name}-{place}.svg"
            (folder / file).write_text(system.svg, encoding="utf-8")
            found.append({"file": file, "width_mm": system.width_mm, "alt": system.alt})
        return found

    passages = []
    for place, (sheet, drawn) in enumerate(zip(content.passages, pictures.passages, strict=True)):
        stages = {
            "bare": put(f"bare-{place}", drawn.bare),
            "neighbours": put(f"neighbours-{place}", drawn.neighbours),
        }
        passages.append(asdict(sheet) | stages)
    phrases = content.words.phrases
    data = {
        "paper": _NAMES[paper],
        "margin_mm": MARGIN_MM,
        "lang": content.words.code,
        "words": asdict(phrases),
        "title": content.title,
        "composer": content.composer,
        "made_from": content.made_from,
        "footer": phrases.footer.format(title=content.title, source=content.source),
        "strings": content.strings,
        "assignment": content.assignment,
        "steps": content.steps,
        "plan": asdict(content.plan),
        "tuning": [asdict(one) for one in content.tuning],
        "passages": passages,
        "matches": [asdict(one) for one in content.matches],
        "etude": put("etude", pictures.etude),
        "listening": put("listening", pictures.listening),
        "targets": asdict(content.targets),
        "cautions": content.cautions,
    }
    text = json.dumps(data, ensure_ascii=True)
    (folder / "handout.json").write_text(text, encoding="ascii")
    template = files("skeleton.export.handout").joinpath(_TEMPLATE)
    (folder / _TEMPLATE).write_bytes(template.read_bytes())


def _compiled(folder: Path, source: str) -> Pdf:
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
            data = _compile(folder, standards, ignore_system_fonts=ignore_system_fonts)
        except _UndrawableError:
            continue
        except RuntimeError as error:
            said = str(error).splitlines() or ["no reason given"]
            raise OutputError(f"{source}: the handout could not be set: {said[0]}") from error
        return Pdf(data, notices)
    raise OutputError(f"{source}: the handout could not be set: no font can draw its texts")


class _UndrawableError(Exception):
    """A text has a character that no font at hand has."""


def _compile(folder: Path, standards: list[Any], *, ignore_system_fonts: bool) -> bytes:
    import typst  # noqa: PLC0415 - a large library, needed here only

    try:
        data = typst.compile(
            str(folder / _TEMPLATE),
            root=str(folder),
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
