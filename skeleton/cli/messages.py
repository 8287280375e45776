"""Messages to the person at the terminal: one line each, on standard error."""

from __future__ import annotations

import os
import sys
from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from skeleton.score.model import Notice

SHOWN_OF_A_KIND = 3
"""Notices of one code shown in full; of the rest the number is told."""


def say(text: str) -> None:
    """Print one line on standard error, without anything that would steer a terminal."""
    if not text.isprintable():
        from skeleton.export.lists.words import one_line  # noqa: PLC0415 - seldom needed

        text = one_line(text)
    print(text, file=sys.stderr)


def abandon_stdout() -> None:
    """Let go of a standard output that takes no more.

    The interpreter flushes it as it ends, and would complain once more.
    """
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def notice_lines(
    notices: Iterable[Notice], part_name: Callable[[str], str] | None = None
) -> list[str]:
    """Return notices as lines ``note: measure 5: ...``, the first few of each kind.

    Args:
        notices: in the order to show them; kinds stay together, at their first notice.
        part_name: says a part for a person; None where naming the part says nothing new.
    """
    kinds: defaultdict[str, list[Notice]] = defaultdict(list)
    for notice in notices:
        kinds[notice.code].append(notice)
    lines = []
    for kind in kinds.values():
        # A remainder of one takes as much room as the notice itself.
        shown = kind if len(kind) <= SHOWN_OF_A_KIND + 1 else kind[:SHOWN_OF_A_KIND]
        lines += [_line(notice, part_name) for notice in shown]
        if len(kind) > len(shown):
            lines.append(f"note: and {len(kind) - len(shown)} more like this ({kind[0].code})")
    return lines


def _line(notice: Notice, part_name: Callable[[str], str] | None) -> str:
    from skeleton.export.lists.words import one_line  # noqa: PLC0415 - not needed for --help

    where = []
    if part_name is not None and notice.part is not None:
        where.append(part_name(notice.part))
    if notice.measure is not None:
        where.append(f"measure {notice.measure}")
    return one_line(": ".join(["note", *([", ".join(where)] if where else []), notice.message]))
