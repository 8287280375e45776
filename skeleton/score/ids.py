"""Ids of notes: the thread that runs from the file to every output.

The file's own id is kept where it can stand in any document (an NCName), is borne by one element
only and has at most 200 characters. Every other note gets ``PART-mMEASURE-nNOTE``: the part's
id, the measure's place from 1 and the note's place in that measure from 1. The same bytes give the
same ids, and no generated id meets one that the file uses.

Source: Namespaces in XML 1.0, 3rd edition (NCName); MusicXML 4.0 (``id`` of ``note`` is an
XML ID, those of ``part``, ``instrument`` and the like are references to one).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from functools import cache
from typing import Final, cast

from lxml import etree

from skeleton.score.tree import Element

_START: Final = "A-Z_a-z"
_REST: Final = "\\-.0-9"
_MORE_START: Final = (
    "\u00c0-\u00d6\u00d8-\u00f6\u00f8-\u02ff\u0370-\u037d\u037f-\u1fff\u200c\u200d"
    "\u2070-\u218f\u2c00-\u2fef\u3001-\ud7ff\uf900-\ufdcf\ufdf0-\ufffd\U00010000-\U000effff"
)
_MORE_REST: Final = "\u00b7\u0300-\u036f\u203f\u2040"

LONGEST_ID: Final = 200
"""A longer id is not kept: each output repeats it at every place that speaks of the note."""

_IDS: Final = etree.XPath("descendant-or-self::*/@id", smart_strings=False)
_IDS_INSIDE: Final = etree.XPath("descendant::*/@id", smart_strings=False)


def ids_in(element: Element, *, inside: bool = False) -> list[str]:
    """Return the ``id`` of an element and of all inside it, or only of those ``inside``."""
    return cast("list[str]", (_IDS_INSIDE if inside else _IDS)(element))


# The classes of all characters take milliseconds to compile, and hardly any file needs them.
@cache
def _patterns(only_ascii: bool) -> tuple[re.Pattern[str], re.Pattern[str]]:
    """A whole name, and a character that stands in none."""
    start = _START + ("" if only_ascii else _MORE_START)
    rest = start + _REST + ("" if only_ascii else _MORE_REST)
    return re.compile(f"[{start}][{rest}]*"), re.compile(f"[^{rest}]")


def is_ncname(text: str) -> bool:
    """Whether a text can be an XML id: a letter or underscore, then letters, digits, ``-._``."""
    name, _ = _patterns(text.isascii())
    return name.fullmatch(text) is not None


def to_ncname(text: str) -> str:
    """Make a text an XML id: other characters become ``_``, one is put before a digit."""
    _, other = _patterns(text.isascii())
    name = other.sub("_", text)
    return name if is_ncname(name) else f"_{name}"


def unlike(name: str, taken: dict[str, int]) -> str:
    """Return a name that is not taken yet: itself, or with a number behind it; it is taken then.

    Args:
        name: the name as wished.
        taken: every name given so far, with the number to go on from where it comes again.
    """
    made, count = name, taken.get(name, 1)
    while made in taken:
        count += 1
        made = f"{name}_{count}"
    taken[name] = count
    taken.setdefault(made, 1)
    return made


class NoteIds:
    """Gives each note of one file its id. Part by part, in order; every note once.

    ``dropped`` collects the ids of notes that could not be kept.

    Args:
        found: every ``id`` in the file.
    """

    def __init__(self, found: Iterable[str]) -> None:
        self._taken = Counter(found)
        self.dropped: list[str] = []
        self._prefixes: dict[str, int] = {}

    def enter_part(self, part_id: str) -> str:
        """Begin a part; return the prefix of its ids, unlike that of any part before."""
        return unlike(to_ncname(part_id), self._prefixes)

    def note(self, own: str | None, stem: str, ordinal: int) -> str:
        """Return the id of a note.

        Args:
            own: the ``id`` attribute in the file, if any.
            stem: prefix and measure, as in ``P1-m12``.
            ordinal: the note's place in its measure, from 1.
        """
        if own is not None:
            if self._taken[own] == 1 and len(own) <= LONGEST_ID and is_ncname(own):
                return own
            self.dropped.append(own)
        made = f"{stem}-n{ordinal}"
        if self._taken:
            while made in self._taken:
                made += "_"
        return made
