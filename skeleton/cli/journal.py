"""``skeleton journal``: what the journal holds, copies of it, and taking a student out."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from skeleton.cli.delivery import DASH, terminal_text
from skeleton.cli.journal_options import JournalFile, opened
from skeleton.cli.messages import say
from skeleton.errors import OptionError, TakeError

if TYPE_CHECKING:
    from skeleton.journal.database import Journal


class Action(StrEnum):
    """What may be done with a journal."""

    LIST = "list"
    EXPORT = "export"
    IMPORT = "import"
    BACKUP = "backup"
    FORGET = "forget"


_WITH_FILE = (Action.IMPORT, Action.BACKUP)


def journal(
    *,
    action: Annotated[
        Action,
        typer.Argument(
            case_sensitive=False,
            help="list: who played what, how often. export: all as JSON lines, or measurements as "
            "CSV (-o FILE.csv). import FILE: what was exported. backup FILE: a copy. "
            "forget: take a student out, with everything.",
            show_default=False,
        ),
    ],
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="FILE", help="For import and backup: from or to where.", show_default=False
        ),
    ] = None,
    student: Annotated[
        str | None,
        typer.Option(
            "--student", "-s", metavar="NAME", help="For export and forget: only this one."
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output", "-o", metavar="FILE", help="For list and export: write to this file."
        ),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="For forget: do not ask.")] = False,
    path: JournalFile = None,
) -> None:
    """Look after the journal: list, export, import, backup, forget a student."""
    if (file is not None) != (action in _WITH_FILE):
        needs = "needs a FILE" if file is None else "takes no FILE; give --output"
        raise typer.BadParameter(f"{action.value} {needs}")
    if student is not None and action not in (Action.EXPORT, Action.FORGET):
        raise typer.BadParameter(f"{action.value} takes no --student")
    if output is not None and action not in (Action.LIST, Action.EXPORT):
        raise typer.BadParameter(f"{action.value} takes no --output")
    if action is Action.FORGET:
        _forget(path, student, yes=yes)
        return
    with opened(path, create=action is Action.IMPORT) as book:
        if action is Action.LIST:
            from skeleton.export.lists.journal_data import holdings_text  # noqa: PLC0415 - when needed

            _write(book, [holdings_text(book.holdings())], output)
        elif action is Action.EXPORT:
            _export(book, student, output)
        elif file is not None:
            _import(book, file) if action is Action.IMPORT else _backup(book, file)


def _export(book: Journal, student: str | None, output: Path | None) -> None:
    everything = book.everything(student)
    if output is not None and output.suffix.lower() == ".csv":
        from skeleton.export.lists.journal_data import csv_lines  # noqa: PLC0415 - when needed

        _write(book, csv_lines(everything), output)
        return
    from skeleton.journal.transfer import to_lines  # noqa: PLC0415 - when needed

    _write(book, to_lines(everything), output)


def _import(book: Journal, file: Path) -> None:
    from skeleton.export.lists.words import counted  # noqa: PLC0415 - when needed
    from skeleton.journal.table_import import from_table  # noqa: PLC0415 - when needed
    from skeleton.journal.transfer import from_lines  # noqa: PLC0415 - when needed

    put_in = from_table if file.suffix.lower() == ".csv" else from_lines
    try:
        with file.open(encoding="utf-8-sig", newline="") as lines:
            done = put_in(book, lines, str(file))
    except OSError as error:
        raise TakeError(f"{file}: cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise TakeError(f"{file}: is not UTF-8 text; import what was exported") from error
    say(
        f"{file.name}: {counted(done.takes, 'take')} put in, {done.known_takes} kept already; "
        f"{counted(done.listenings, 'listening')}, {counted(done.lessons, 'lesson')}"
    )


def _backup(book: Journal, file: Path) -> None:
    from skeleton.export.writing import whole_file  # noqa: PLC0415 - when needed

    with whole_file(file, keep=[book.path]) as new:
        book.backup(new)
    say(f"{book.path}: copied to {file}")


def _forget(path: Path | None, student: str | None, *, yes: bool) -> None:
    if student is None:
        raise typer.BadParameter("forget whom? give --student")
    if not yes:
        if not sys.stdin.isatty():
            raise OptionError("forgetting cannot be undone; give --yes to do it without asking")
        typer.confirm(f"Delete everything of {student!r} for good?", abort=True)
    from skeleton.export.lists.words import counted  # noqa: PLC0415 - when needed

    with opened(path) as book:
        takes = counted(book.forget(student), "take")
        say(
            f"{book.path}: {student} is out of it, with {takes}; backups and exports are "
            "other files"
        )


def _write(book: Journal, lines: Iterable[str], output: Path | None) -> None:
    """Write lines where they were asked for, one by one: a journal may be large."""
    from skeleton.export.writing import encoded, whole_file  # noqa: PLC0415 - when needed

    if output is None or output == DASH:
        for line in lines:
            if sys.stdout.isatty():
                sys.stdout.write(terminal_text(line))
            else:
                sys.stdout.buffer.write(encoded(line))
        sys.stdout.flush()
        return
    with whole_file(output, keep=[book.path]) as new, new.open("wb") as file:
        file.writelines(encoded(line) for line in lines)
