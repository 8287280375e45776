"""The curves of a whole take as one tall picture: a heading, then passage after passage."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

from skeleton.errors import TakeError
from skeleton.export.engraving.picture import PAGE_WIDTH_MM
from skeleton.export.engraving.typeface import BOLD, REGULAR, Face, font_face_css, text_width
from skeleton.export.lists.listen_text import reference_text
from skeleton.export.lists.outline_text import title_of
from skeleton.export.lists.words import one_line
from skeleton.export.take.plots import passage_text, take_plots
from skeleton.export.take.words import take_words
from skeleton.listening.pitch_curves import NoteCurve
from skeleton.listening.report import TakeReport

_MARGIN_MM: Final = 3.0
_GAP_MM: Final = 3.0


def curves_picture(report: TakeReport, curves: Sequence[NoteCurve], take: str) -> str:
    """Return the curves of a take as SVG text, as wide as the engraved pictures.

    Args:
        report: the take judged.
        curves: of its attempts, :func:`skeleton.listening.pitch_curves.pitch_curves`.
        take: its name, for the heading.

    Raises:
        TakeError: no note of any passage was played.
    """
    words = take_words("en")
    found = take_plots(report, curves, PAGE_WIDTH_MM - 2 * _MARGIN_MM, words)
    if not found:
        raise TakeError(f"{take}: no note of a passage was played; there is no curve to draw")
    used: dict[Face, set[str]] = {REGULAR: set(), BOLD: set()}
    parts: list[str] = []
    title = f"{one_line(title_of(report.analysis))} · {one_line(take)}"

    def line(text: str, y: float, size: float, *, bold: bool = False) -> None:
        face = BOLD if bold else REGULAR
        used[face] |= set(text)
        room = PAGE_WIDTH_MM - 2 * _MARGIN_MM
        fitted = min(size, size * room / max(text_width(text, size, bold=bold), 0.1))
        parts.append(
            f'<text x="{_MARGIN_MM:g}" y="{y:.2f}" font-size="{fitted:.2f}" '
            f'font-family="{face.family}" font-weight="{face.weight}">{escape(text)}</text>'
        )

    line(title, 7.5, 5.0, bold=True)
    top = 12.0
    for text in (reference_text(report, words), *words.say.curves_legend):
        line(text, top, 3.1)
        top += 4.2
    for passage in found:
        top += 3.5
        line(passage_text(report, passage.passage, words), top, 4.2, bold=True)
        top += 3.0
        for plot in passage.plots:
            for face, characters in plot.used.items():
                used[face] |= characters
            parts.append(
                f'<g transform="translate({_MARGIN_MM:g} {top:.2f})"><title>{escape(plot.alt)}'
                f"</title>{plot.inner}</g>"
            )
            top += plot.height_mm + _GAP_MM
    size = f'width="{PAGE_WIDTH_MM:g}" height="{top:.2f}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{PAGE_WIDTH_MM:g}mm" height="{top:.2f}mm" '
        f'viewBox="0 0 {PAGE_WIDTH_MM:g} {top:.2f}" role="img" color="#000000">'
        f'<title>{escape(title)}</title><style type="text/css">{font_face_css(used)}</style>'
        f'<rect {size} fill="#ffffff"/>{"".join(parts)}</svg>\n'
    )
