"""``skeleton reduce``: the skeleton of an etude, engraved."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from skeleton.cli.options import Request, takes_etude


class Stage(StrEnum):
    """The stages a student walks through."""

    BARE = "bare"
    NEIGHBOURS = "neighbours"
    ALL = "all"


Single = Annotated[
    bool, typer.Option("--single", help="One tall picture instead of one file per page.")
]
Dpi = Annotated[
    float,
    typer.Option("--dpi", metavar="DPI", min=20, max=1200, help="Pixels per inch of a PNG."),
]


@takes_etude
def reduce(
    request: Request,
    stage: Annotated[
        Stage,
        typer.Option(
            "--stage",
            "-s",
            case_sensitive=False,
            help="bare: the skeleton alone; neighbours: with the accidentals hung on it; "
            "all: the etude as written, the skeleton in black.",
        ),
    ] = Stage.BARE,
    open_strings: Annotated[
        bool,
        typer.Option(
            "--open-strings",
            help="Keep the notes named like open strings too, where a passage has notes of "
            "the rule.",
        ),
    ] = False,
    single: Single = False,
    dpi: Dpi = 200.0,
) -> None:
    """Engrave the skeleton, bare or with its accidentals."""
    from skeleton.cli.drawing import draw  # noqa: PLC0415 - not needed for --help

    draw(request, stage.value, single=single, dpi=dpi, keep_open_strings=open_strings)
