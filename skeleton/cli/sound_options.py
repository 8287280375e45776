"""What the commands that make sound share: options, a progress bar, words about ears."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Annotated, Final

import typer

from skeleton.cli.messages import say

Rate = Annotated[
    int,
    typer.Option("--rate", metavar="N", help="Samples a second of a sound file."),
]
StringsHz = Annotated[
    str | None,
    typer.Option(
        "--strings-hz",
        metavar="HZ,...",
        help="The open strings as measured, low to high: '196.1,293.9,440.5,661'. They give "
        "the A as well.",
    ),
]

_LONG_S: Final = 120.0
"""Shorter sounds are written before a bar could be read."""


def frequencies(text: str) -> list[float]:
    """Return the frequencies of an option ``--strings-hz``.

    Raises:
        typer.BadParameter: it is no list of numbers.
    """
    try:
        return [float(one) for one in re.split(r"[\s,;]+", text.strip())]
    except ValueError:
        raise typer.BadParameter(
            f"{text!r} is no list of frequencies in Hz; write 196.1,293.9,440.5,661",
            param_hint="--strings-hz",
        ) from None


def names(text: str) -> list[str]:
    """Return the names in a list such as ``D4,A4``."""
    return [one for one in re.split(r"[\s,;]+", text.strip()) if one]


@contextmanager
def progress(seconds: float, rate: int) -> Iterator[Callable[[int], None] | None]:
    """Show a bar on standard error while a long sound is written to be called with samples done.

    Gives None where nobody would see it: short sounds, and a standard error that is no terminal.
    """
    if seconds < _LONG_S or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console  # noqa: PLC0415 - costs time to import
    from rich.progress import Progress  # noqa: PLC0415 - costs time to import

    with Progress(console=Console(file=sys.stderr), transient=True) as bar:
        task = bar.add_task("writing", total=round(seconds * rate))

        def tell(samples: int) -> None:
            bar.update(task, advance=samples)

        yield tell


def say_caution() -> None:
    """Say how loud a drone may be, and for how long."""
    from skeleton.intonation.cautions import HEARING  # noqa: PLC0415 - not needed for --help

    say(f"note: {HEARING.text}")


def minutes(seconds: float) -> str:
    """Return a length of time as ``1:32``."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"
