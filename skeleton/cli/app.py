"""The program ``skeleton``: one file per command, put together here.

To add a command, write it in a file of its own (see ``outline``) and name it in ``NAMES``.
Nothing heavy is imported before a command runs, so that ``--help`` answers at once.
"""

from __future__ import annotations

import gc
import signal
import sys
from collections.abc import Callable, Iterable
from importlib import import_module
from types import FrameType
from typing import Annotated, Final, NoReturn

import typer

from skeleton.cli.guard import guarded

NAMES: Final = (
    "outline",
    "reduce",
    "annotate",
    "checklist",
    "handout",
    "targets",
    "drone",
    "playalong",
    "tuning",
    "listen",
    "keep",
    "progress",
    "assign",
    "studio",
    "journal",
)
"""The commands, in the order in which ``--help`` lists them; each has a module of its name."""


def _version(value: bool) -> None:
    if value:
        from importlib.metadata import PackageNotFoundError, version  # noqa: PLC0415 - when needed

        try:
            print(f"skeleton {version('etude-skeleton')}")
        except PackageNotFoundError:
            print("skeleton, not installed: run from its source")
        raise typer.Exit


def about(
    version: Annotated[
        bool,
        typer.Option(
            "--version", help="Show the version and leave.", callback=_version, is_eager=True
        ),
    ] = False,
) -> None:
    """Find what an etude stands on: skeleton, accidentals and their anchors, matches.

    Data goes to standard output or the file named with --output, messages to standard error.
    Exit code 0: done; 1: the input is at fault; 2: usage.
    """


def _command(name: str) -> Callable[..., None]:
    found: Callable[..., None] = getattr(import_module(f"skeleton.cli.{name}"), name)
    return found


def _program(names: Iterable[str]) -> typer.Typer:
    program = typer.Typer(
        name="skeleton",
        no_args_is_help=True,
        # Help is plain text: the same in a pipe as on a terminal, and nothing heavy to import.
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["--help", "-h"]},
    )
    program.callback()(about)
    for name in names:
        program.command()(guarded(_command(name)))
    return program


def __getattr__(name: str) -> object:
    """Return all commands, as functions or as a program, for those who look at them together."""
    if name == "COMMANDS":
        return tuple(_command(one) for one in NAMES)
    if name == "app":
        return _program(NAMES)
    raise AttributeError(name)


def _leave(number: int, _: FrameType | None) -> NoReturn:
    sys.exit(128 + number)


def main() -> None:
    """Run the program and leave with its exit code.

    Ended by the system (a terminal that closes, a computer that shuts down), it tidies up first:
    no half-written file stays behind, and no process of the engraver.
    """
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number and signal.getsignal(number) is signal.SIG_DFL:  # ignored under nohup: stays so
            signal.signal(number, _leave)
    gc.set_threshold(100_000, 20, 50)  # hardly any memory waits for it; it looks less often
    # Commands take time to set up: one that is named first is set up alone.
    named = [name for name in NAMES if [name] == sys.argv[1:2]]
    try:
        _program(named or NAMES)(prog_name="skeleton")
    except KeyboardInterrupt:
        sys.exit(130)
    finally:
        gc.freeze()  # all memory is given back at once: no need to look through it first
