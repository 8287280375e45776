"""Where results go: the file named with ``--output``, or standard output.

A terminal gets the signs of the trade and, for reports, tables drawn to its width. Everything
else gets plain UTF-8 text, the same on every system, byte for byte what a file would hold.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from skeleton.cli.messages import abandon_stdout
from skeleton.cli.options import Request, lesson_file
from skeleton.errors import OutputError

if TYPE_CHECKING:
    from skeleton.export.lists.document import Document

DASH = Path("-")
"""As the name of an output file: standard output."""


def to_terminal(request: Request) -> bool:
    """Whether the result is read by a person as it is, on a terminal."""
    return request.output in (None, DASH) and sys.stdout.isatty()


def shows_signs(request: Request) -> bool:
    """Whether the result goes to a terminal that can show ♯, ♭ and ½."""
    if not to_terminal(request):
        return False
    try:
        "♯♭½⅓".encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True


def deliver(request: Request, result: str | bytes) -> None:
    """Write a result where it was asked for, whole or not at all.

    Raises:
        OptionError: the output file is the etude or the lesson file.
        OutputError: it cannot be written.
    """
    if request.output is not None and request.output != DASH:
        deliver_files(request, {request.output: result})
        return
    try:
        if to_terminal(request) and isinstance(result, str):
            sys.stdout.write(terminal_text(result))
        else:
            from skeleton.export.writing import encoded  # noqa: PLC0415 - when needed

            sys.stdout.flush()
            sys.stdout.buffer.write(encoded(result))
            sys.stdout.buffer.flush()
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        abandon_stdout()
        raise OutputError(f"standard output: cannot be written: {error.strerror}") from error


def deliver_files(request: Request, files: Mapping[Path, str | bytes]) -> None:
    """Write several files as one set: all of them whole, or none.

    Raises:
        OptionError: a file is the etude or the lesson file.
        OutputError: one cannot be written.
    """
    from skeleton.export.writing import write_set  # noqa: PLC0415 - when needed

    write_set(files, keep=[request.etude, request.lesson or lesson_file(request.etude)])


def show(request: Request, document: Document) -> None:
    """Write a report: as drawn tables on a terminal, as plain aligned text elsewhere.

    Raises:
        OptionError: the output file is the etude or the lesson file.
        OutputError: it cannot be written.
    """
    if to_terminal(request):
        from skeleton.cli.terminal import draw  # noqa: PLC0415 - rich costs time to import

        draw(document)
        return
    from skeleton.export.lists.document import plain_text  # noqa: PLC0415 - when needed

    deliver(request, plain_text(document))


def terminal_text(text: str) -> str:
    """Return what a terminal shows of a text: nothing that would steer it, all it can encode."""
    from skeleton.export.lists.words import without_controls  # noqa: PLC0415 - when needed

    encoding = sys.stdout.encoding or "ascii"
    return without_controls(text).encode(encoding, errors="replace").decode(encoding)
