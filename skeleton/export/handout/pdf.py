"""The handout as PDF: vectors, fonts embedded, text selectable, tagged to PDF/UA-1.

Lines of music are pictures of their own, so that no page break can cut one. How a sheet is set is
in :mod:`skeleton.export.handout.typeset`.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Final

from skeleton.export.handout.content import Handout
from skeleton.export.handout.pictures import HandoutPictures
from skeleton.export.handout.typeset import Paper, Pdf, Pictures, on_paper, typeset

_HOME: Final = "skeleton.export.handout"
_TEMPLATE: Final = "handout.typ"


def handout_pdf(content: Handout, pictures: HandoutPictures, paper: Paper = "a4") -> Pdf:
    """Set a handout.

    Args:
        content: what it says.
        pictures: its pictures, engraved at
            :func:`~skeleton.export.handout.typeset.music_width_mm` of that paper.
        paper: ``a4`` or ``letter``.

    Raises:
        OutputError: the typesetter failed.
    """
    drawn = Pictures()
    passages = []
    for place, (sheet, stages) in enumerate(zip(content.passages, pictures.passages, strict=True)):
        passages.append(
            asdict(sheet)
            | {
                "bare": drawn.put(f"bare-{place}", stages.bare),
                "neighbours": drawn.put(f"neighbours-{place}", stages.neighbours),
            }
        )
    phrases = content.words.phrases
    data = {
        **on_paper(paper),
        "lang": content.words.code,
        "words": asdict(phrases),
        "pages": phrases.pages,
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
        "etude": drawn.put("etude", pictures.etude),
        "listening": drawn.put("listening", pictures.listening),
        "targets": asdict(content.targets),
        "legend": content.legend,
        "cautions": content.cautions,
    }
    return typeset(_HOME, _TEMPLATE, data, drawn, source=content.source, what="handout")
