"""A take judged as PDF, set as the handout is: vectors, own fonts, tagged to PDF/UA-1."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

from skeleton.export.handout.typeset import Paper, Pdf, Pictures, on_paper, typeset
from skeleton.export.lists.document import Table
from skeleton.export.take.content import TakeSheet
from skeleton.export.take.pictures import TakePictures

_HOME: Final = "skeleton.export.take"
_TEMPLATE: Final = "take.typ"


def take_pdf(content: TakeSheet, pictures: TakePictures, paper: Paper = "a4") -> Pdf:
    """Set a take.

    Args:
        content: what it says.
        pictures: its pictures, with the marks, at
            :func:`~skeleton.export.handout.typeset.music_width_mm` of that paper.
        paper: ``a4`` or ``letter``.

    Raises:
        OutputError: the typesetter failed.
    """
    words = content.words
    say, drawn = words.say, Pictures()
    curves = {
        one.passage.name: drawn.put(f"curves-{place}", one.plots)
        for place, one in enumerate(pictures.curves)
    }
    data: dict[str, Any] = {
        **on_paper(paper),
        "lang": words.shared.code,
        "words": asdict(say) | {"returns": words.shared.phrases.matches},
        "pages": words.shared.phrases.pages,
        "composer": content.composer,
        "footer": f"{content.title} · {content.take} · {content.source}",
        "title": content.title,
        "take": content.take,
        "heard": content.heard,
        "reference": content.reference,
        "things": content.things,
        "more": content.more,
        "marks_legend": [f"{one[:1].upper()}{one[1:]}." for one in say.marks_legend],
        "music": drawn.put("music", pictures.music),
        "curves_legend": [f"{one[:1].upper()}{one[1:]}." for one in say.curves_legend],
        "passages": [
            {
                "heading": one.heading,
                "rows": [row.cells for row in one.rows],
                "curves": curves.get(one.name, []),
            }
            for one in content.passages
        ],
        "rings": content.rings,
        "returns": _table(content.returns),
        "ear": None
        if content.ear is None
        else {"counts": content.ear[0], "table": _table(content.ear[1])},
        "strings": _table(content.strings),
        "how": content.how,
        "limits": content.limits,
        "cautions": content.cautions,
    }
    return typeset(_HOME, _TEMPLATE, data, drawn, source=content.source, what="sheet of the take")


def _table(table: Table) -> dict[str, Any]:
    return {"head": table.columns, "rows": table.rows}
