"""HTML from plain text: elements whose texts and attributes are always escaped.

Source: WHATWG HTML, "Serialising HTML fragments" (what is escaped where) and "Void elements".
"""

from __future__ import annotations

import json
from html import escape
from typing import Final

_VOID: Final = frozenset({"br", "hr", "img", "input", "link", "meta"})


class Html(str):
    """A piece of finished HTML. Every other string is text and is escaped where it is put in."""

    __slots__ = ()


Child = str | None
"""Content of an element: finished HTML, a text, or nothing."""


def el(name: str, /, *children: Child, **attributes: str | int | bool | None) -> Html:
    """Return an element.

    Args:
        name: its tag.
        children: its content, in order.
        attributes: ``_`` stands for ``-`` in their names, one at the end is dropped (``class_``);
            True gives an attribute without a value, None and False leave it out.
    """
    written = "".join(
        f" {key.rstrip('_').replace('_', '-')}"
        + ("" if value is True else f'="{escape(str(value))}"')
        for key, value in attributes.items()
        if value is not None and value is not False
    )
    start = f"<{name}{written}>"
    return Html(start if name in _VOID else f"{start}{join(*children)}</{name}>")


def join(*children: Child) -> Html:
    """Return pieces one after the other, texts escaped."""
    return Html(
        "".join(
            one if isinstance(one, Html) else escape(one, quote=False) for one in children if one
        )
    )


def json_text(value: object) -> Html:
    """Return a value as JSON that may stand inside a ``<script>`` element as data.

    ``<`` is written as an escape: neither an end tag nor a comment can begin in it.
    """
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return Html(
        text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
    )
