"""From an analysis to its page: everything in one call."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from skeleton.analysis.lesson import Lesson
from skeleton.analysis.results import Analysis
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.content import handout_content
from skeleton.export.handout.page import page
from skeleton.export.handout.page_notes import etude_says
from skeleton.export.handout.page_sounds import Sounds, fits, sounds
from skeleton.export.handout.page_words import page_words
from skeleton.export.handout.pictures import handout_pictures
from skeleton.export.handout.words import words
from skeleton.intonation.targets import targets
from skeleton.score.model import Notice

WIDTH_MM: Final = 150.0
"""Width of the music: narrower than on paper, so that it can be read on a phone."""

EMBED_UP_TO_MB: Final = 8.0
"""Sounds of so many megabytes (10**6 bytes, as they stand in the file) are put into the page."""


@dataclass(frozen=True, slots=True)
class Page:
    """A page, the sound files that must lie beside it by name, and what was odd."""

    html: str
    files: Mapping[str, bytes]
    notices: tuple[Notice, ...]

    def _repr_html_(self) -> str:
        """Show the page in a notebook, in a frame of its own."""
        from html import escape  # noqa: PLC0415 - for notebooks only

        return f'<iframe srcdoc="{escape(self.html)}" width="100%" height="800"></iframe>'


def handout_page(
    analysis: Analysis,
    lesson: Lesson | None = None,
    engraver: Engraver | None = None,
    *,
    language: str = "en",
    with_sounds: bool = True,
    embed_up_to_mb: float = EMBED_UP_TO_MB,
    name: str = "handout",
) -> Page:
    """Make the handout of an etude as a page.

    Args:
        analysis: the etude.
        lesson: the lesson the analysis was made with: title, assignment, tempo, goals.
        engraver: a running engraver; one is started and ended where None.
        language: code of a language of :data:`skeleton.export.handout.words.LANGUAGES`.
        with_sounds: make drones and tracks too.
        embed_up_to_mb: where all sounds together are larger, they are files beside the page.
        name: what the names of such files begin with.

    Raises:
        OptionError: there is no such language.
        EngravingError: the engraver failed.
    """
    spoken, phrases = words(language), page_words(language)
    if engraver is None:
        with Engraver() as own:
            return handout_page(
                analysis, lesson, own, language=language, with_sounds=with_sounds,
                embed_up_to_mb=embed_up_to_mb, name=name,
            )  # fmt: skip
    found = targets(analysis)
    pictures = handout_pictures(analysis, engraver, spoken, WIDTH_MM)
    heard = sounds(found, spoken, phrases, lesson, name=name) if with_sounds else Sounds(())
    files = heard.files
    embed = fits(files, embed_up_to_mb)
    html = page(
        handout_content(analysis, found, spoken, lesson),
        pictures,
        etude_says(found, spoken, phrases),
        phrases,
        heard.passages,
        embed=embed,
    )
    notices = (*found.notices, *pictures.notices, *heard.notices)
    return Page(html, {} if embed else files, notices)
