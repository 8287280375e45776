"""In which form a list is written: by ``--format``, ``--csv``, ``--json`` or the file's ending."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated, TypeVar

import typer
from typer.models import OptionInfo

from skeleton.cli.delivery import DASH
from skeleton.errors import OptionError

AsCsv = Annotated[bool, typer.Option("--csv", help="The same as --format csv.")]
AsJson = Annotated[bool, typer.Option("--json", help="The same as --format json.")]

_F = TypeVar("_F", bound=StrEnum)


def form_option(more: str = "") -> OptionInfo:
    """Return the option ``--format``, with more words behind its help."""
    words = f"Default: what the ending of --output says, else text. {more}".rstrip()
    option: OptionInfo = typer.Option("--format", "-f", case_sensitive=False, help=words)
    return option


def form_of(
    asked: _F | None, endings: Mapping[str, _F], output: Path | None, *, csv: bool, json: bool
) -> _F:
    """Return the form that was asked for, else the one the output's ending stands for.

    Args:
        asked: by ``--format``.
        endings: the form of each ending; ``.csv``, ``.json`` and ``.txt`` are among them, and the
            last of these is for standard output and for a file without ending, too.
        output: the file named with ``--output``.
        csv: whether ``--csv`` was given.
        json: whether ``--json`` was given.

    Raises:
        OptionError: no form has this ending.
        typer.BadParameter: several forms were asked for.
    """
    forms = {
        *([asked] if asked is not None else []),
        *([endings[".csv"]] if csv else []),
        *([endings[".json"]] if json else []),
    }
    if len(forms) > 1:
        raise typer.BadParameter("give --csv, --json or --format, not several")
    if forms:
        return forms.pop()
    if output is None or output == DASH or not output.suffix:
        return endings[".txt"]
    ending = output.suffix.lower()
    if ending not in endings:
        known = ", ".join(endings)
        raise OptionError(f"{output}: no form is known by this ending; use {known}, or --format")
    return endings[ending]
