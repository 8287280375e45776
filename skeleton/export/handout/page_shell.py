"""What every page of this package is: one HTML file that opens from disk and asks for nothing.

What a score or a lesson says is text and nothing else: it is escaped, and the page's own policy
(Content Security Policy Level 3, in a ``<meta>``) runs one script and applies one style sheet,
each named by its hash, and lets nothing be loaded but what the file itself holds and, where they
were too large for it, the sound files beside it.

A script is put together from parts, which run one after the other inside one function: what all
pages do with notes (``page_core.js``), what a listener's marks need (``page_marks.js``), and what
a page does by itself.
"""

from __future__ import annotations

import hashlib
from base64 import b64encode
from collections.abc import Iterable
from importlib.resources import files
from string import Template
from typing import Final

from skeleton.export.engraving.typeface import BOLD, REGULAR, Face, font_face_css
from skeleton.export.handout.markup import Html, json_text
from skeleton.export.handout.page_music import Stand

HOME: Final = "skeleton.export.handout"
"""The package that the shared parts of style sheet and script lie in."""


def part(name: str, package: str = HOME) -> str:
    """Return a part of a style sheet or a script by its file name."""
    return files(package).joinpath(name).read_text(encoding="utf-8").strip()


def shell(
    title: str,
    body: Html,
    stand: Stand,
    data: object,
    *,
    language: str,
    styles: Iterable[str],
    scripts: Iterable[str],
    bold: str = "",
    regular: str = "",
    beside: bool = False,
) -> str:
    """Return a whole page.

    Args:
        title: of the page.
        body: all that it shows.
        stand: took the music that stands in the body.
        data: what the script works with, to be written as JSON.
        language: code of the language.
        styles: parts of the style sheet, :func:`part`.
        scripts: parts of the script.
        bold: what headings and marks say, besides the music: their characters need a font.
        regular: the same of texts that are not bold.
        beside: whether sound files beside the page may be played.
    """
    used: dict[Face, frozenset[str]] = stand.used()
    for face, text in ((BOLD, bold), (REGULAR, regular)):
        used[face] = used.get(face, frozenset()) | frozenset(text)
    style = Html(font_face_css(used) + "\n".join(styles))
    script = Html('"use strict";\n(() => {\n' + "\n\n".join(scripts) + "\n})();")
    return Template(part("page.html")).substitute(
        lang=language,
        policy=_policy(style, script, beside=beside),
        title=Html(title.replace("&", "&amp;").replace("<", "&lt;")),
        style=style,
        glyphs=stand.glyphs(),
        body=body,
        data=json_text(data),
        script=script,
    )


def _policy(style: str, script: str, *, beside: bool) -> str:
    media = "data: 'self' file:" if beside else "data:"
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src {_hash(script)}",
            f"style-src {_hash(style)}",
            "font-src data:",
            "img-src data:",
            f"media-src {media}",
            "base-uri 'none'",
            "form-action 'none'",
            "require-trusted-types-for 'script'",
        )
    )


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{b64encode(digest).decode('ascii')}'"
