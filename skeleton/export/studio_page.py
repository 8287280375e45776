"""The studio on one page: who needs what this week. HTML that needs nothing and runs nothing.

It prints as it is, and reads without a style sheet: headings, one table for each student.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from html import escape
from typing import Final

from skeleton.export.lists.progress_text import cents_text, condition_text
from skeleton.export.lists.words import counted, listed, one_line
from skeleton.journal.habits import LEVEL, Condition, Finding
from skeleton.journal.studio import BETTER, DOUBTFUL, RETURNS, EtudeRecord, StudentRecord

_STYLE: Final = """
body{font-family:Georgia,serif;max-width:60rem;margin:1.5rem auto;padding:0 1rem;line-height:1.4}
h1{font-size:1.5rem}h2{font-size:1.2rem;margin:1.6rem 0 .3rem}
table{border-collapse:collapse;width:100%;table-layout:fixed}
th,td{border:1px solid #767676;padding:.3rem .5rem;text-align:left;vertical-align:top}
th{font-weight:bold}p{margin:.3rem 0}
@media print{body{margin:0;max-width:none}section{break-inside:avoid}}
"""
_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
)

_NONE: Final = "<p>The journal holds no takes.</p>"

_COLUMNS: Final[tuple[tuple[str, tuple[Condition, ...]], ...]] = (
    ("Comes back", RETURNS),
    ("Not sure yet", DOUBTFUL),
    ("Gets better", BETTER),
)


def studio_html(students: Sequence[StudentRecord], today: date) -> str:
    """Return the page as HTML text.

    Args:
        students: the most urgent first.
        today: the day it is made, which stands on it.
    """
    body = (
        "".join(_student(place, one) for place, one in enumerate(students, start=1))
        or "<p>The journal holds no takes.</p>"
    )
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>The studio, {today.isoformat()}</title><style>{_STYLE}</style></head><body>"
        f"<h1>The studio, {today.isoformat()}</h1>"
        "<p>Who needs most stands first. Notes are taken together by name, in every octave; takes "
        "of one day count as one. A note comes back where chance would hardly do it and it is off "
        f"more often than not. Of {1 / LEVEL:.0f} rows of students who are off by chance only, "
        "about one says something all the same: listen first.</p>"
        f"{_list(students)}<main>{body or _NONE}</main></body></html>\n"
    )


def _list(students: Sequence[StudentRecord]) -> str:
    """The week in one line each."""
    lines = "".join(
        f'<li><a href="#s{place}">{_said(one.student)}</a>: {escape(_week(one))}</li>'
        for place, one in enumerate(students, start=1)
    )
    return f"<nav><ol>{lines}</ol></nav>" if lines else ""


def _week(student: StudentRecord) -> str:
    names = [
        f"{found.subject} {condition_text(found)}"
        for etude in student.etudes
        for found in etude.names
        if found.condition in RETURNS
    ]
    if not names:
        return f"nothing comes back; last take {student.last_day}"
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return "; ".join(names[:3]) + more


def _student(place: int, student: StudentRecord) -> str:
    rows = "".join(_row(one) for one in student.etudes)
    heads = "".join(f'<th scope="col">{name}</th>' for name, _ in _COLUMNS)
    return (
        f'<section aria-labelledby="s{place}"><h2 id="s{place}">{_said(student.student)}</h2>'
        f'<table><thead><tr><th scope="col">Etude</th>{heads}<th scope="col">Ear</th></tr></thead>'
        f"<tbody>{rows}</tbody></table></section>"
    )


def _row(etude: EtudeRecord) -> str:
    held = etude.holding
    title = held.title or f"without title ({held.content[:8]})"
    span = f"{counted(held.takes, 'take')}, last {held.last_day}"
    cells = "".join(
        f"<td>{_findings([one for one in etude.names if one.condition in conditions])}</td>"
        for _, conditions in _COLUMNS
    )
    return (
        f'<tr><th scope="row">{_said(title)}<br><small>{escape(span)}</small></th>{cells}'
        f"<td>{escape(_ear(etude))}</td></tr>"
    )


def _findings(found: Sequence[Finding]) -> str:
    return "<br>".join(
        escape(f"{one.subject}: {condition_text(one)}, {cents_text(one.median_cents)}")
        for one in found
    )


def _ear(etude: EtudeRecord) -> str:
    found = etude.ear
    told = []
    if found.noticed_cents is not None:
        told.append(f"notices about {found.noticed_cents:.0f} cents")
    if found.bias is not None:
        told.append(f"hears {found.bias} as right")
    return listed(told)


def _said(text: str) -> str:
    return escape(one_line(text))
