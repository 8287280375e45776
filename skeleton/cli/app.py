"""The program ``skeleton``: one file per command, put together here.

To add a command, write it in a file of its own (see ``outline``) and name it in ``COMMANDS``.
Nothing heavy is imported before a command runs, so that ``--help`` answers at once.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable
from types import FrameType
from typing import Annotated, Final, NoReturn

import typer

from skeleton.cli.annotate import annotate
from skeleton.cli.assign import assign
from skeleton.cli.checklist import checklist
from skeleton.cli.drone import drone
from skeleton.cli.guard import guarded
from skeleton.cli.handout import handout
from skeleton.cli.journal import journal
from skeleton.cli.keep import keep
from skeleton.cli.listen import listen
from skeleton.cli.outline import outline
from skeleton.cli.playalong import playalong
from skeleton.cli.progress import progress
from skeleton.cli.reduce import reduce
from skeleton.cli.studio import studio
from skeleton.cli.targets import targets
from skeleton.cli.tuning import tuning

COMMANDS: Final[tuple[Callable[..., None], ...]] = (
    outline,
    reduce,
    annotate,
    checklist,
    handout,
    targets,
    drone,
    playalong,
    tuning,
    listen,
    keep,
    progress,
    assign,
    studio,
    journal,
)
"""The commands, in the order in which ``--help`` lists them."""

app = typer.Typer(
    name="skeleton",
    no_args_is_help=True,
    # Help is plain text: the same in a pipe as on a terminal, and nothing heavy to import.
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
)
for command in COMMANDS:
    app.command()(guarded(command))


def _version(value: bool) -> None:
    if value:
        from importlib.metadata import PackageNotFoundError, version  # noqa: PLC0415 - when needed

        try:
            print(f"skeleton {version('etude-skeleton')}")
        except PackageNotFoundError:
            print("skeleton, not installed: run from its source")
        raise typer.Exit


@app.callback()
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
    try:
        app(prog_name="skeleton")
    except KeyboardInterrupt:
        sys.exit(130)
