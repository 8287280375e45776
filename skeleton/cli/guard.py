"""What ends a command: exit codes, and one line for every error.

0 done, 1 the input is at fault, 2 usage, 130 interrupted. A reader that closes the pipe early
(``| head``) has what it wants: that ends quietly with 0. An error nobody foresaw is a fault of
the program; it too ends in one line and code 1, and with ``SKELETON_DEBUG=1`` in the environment
it shows where it happened.
"""

from __future__ import annotations

import functools
import os
import sys
from collections.abc import Callable
from typing import ParamSpec

import typer

from skeleton.cli.messages import abandon_stdout, say
from skeleton.errors import SkeletonError

P = ParamSpec("P")

DEBUG_VARIABLE = "SKELETON_DEBUG"
"""Set to anything in the environment, it makes unforeseen errors show their trace."""


def guarded(command: Callable[P, None]) -> Callable[P, None]:
    """Return the command with its errors turned into a line and an exit code."""

    @functools.wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            command(*args, **kwargs)
            sys.stdout.flush()
        except (typer.Exit, typer.Abort, typer.BadParameter):
            raise
        except SkeletonError as error:
            say(f"skeleton: {_one_line(error)}")
            raise typer.Exit(1) from error
        except KeyboardInterrupt as error:
            raise typer.Exit(130) from error
        except BrokenPipeError as error:
            abandon_stdout()
            raise typer.Exit(0) from error
        except Exception as error:
            if os.environ.get(DEBUG_VARIABLE):
                raise
            say(
                f"skeleton: a fault of the program, not of your file: {type(error).__name__}: "
                f"{_one_line(error)} (set {DEBUG_VARIABLE}=1 to see where)"
            )
            raise typer.Exit(1) from error

    return run


def _one_line(error: Exception) -> str:
    from skeleton.export.lists.words import one_line  # noqa: PLC0415 - not needed for --help

    return one_line(str(error))
