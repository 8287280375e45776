"""A table for notebooks, from plain rows of text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape


def html_table(caption: str, headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return an HTML table; all text is escaped."""
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in headings)
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(text)}</td>" for text in row) + "</tr>" for row in rows
    )
    return (
        f"<table><caption>{escape(caption)}</caption>"
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    )
