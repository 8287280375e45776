"""``skeleton targets``: how high each note is to sound, and what to check it against."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from skeleton.cli.delivery import deliver, show, shows_signs
from skeleton.cli.forms import AsCsv, AsJson, form_of, form_option
from skeleton.cli.options import Request, takes_etude
from skeleton.cli.sound_options import StringsHz, frequencies


class Form(StrEnum):
    """The forms targets are written in."""

    TEXT = "text"
    CSV = "csv"
    JSON = "json"


class SystemName(StrEnum):
    """The systems as choices of ``--system``; the values are those of the theory."""

    PYTHAGOREAN = "pythagorean"
    JUST = "just"
    EQUAL = "equal"


class TunedName(StrEnum):
    """How strings are tuned, as choices of ``--strings``."""

    PURE = "pure"
    EQUAL = "equal"


_ENDINGS = {".txt": Form.TEXT, ".csv": Form.CSV, ".json": Form.JSON}


@takes_etude
def targets(
    request: Request,
    *,
    system: Annotated[
        SystemName,
        typer.Option(
            "--system",
            case_sensitive=False,
            help="Where notes lie: in the chain of fifths (pythagorean), as a keyboard (equal), or "
            "pure against a drone (just, with --against).",
        ),
    ] = SystemName.PYTHAGOREAN,
    against: Annotated[
        str | None,
        typer.Option(
            "--against", metavar="STRING", help="The open string that sounds along: D. With just."
        ),
    ] = None,
    strings: Annotated[
        TunedName | None,
        typer.Option(
            "--strings",
            case_sensitive=False,
            help="How the open strings are tuned from the A. Default: pure; with --system equal, "
            "equal.",
        ),
    ] = None,
    strings_hz: StringsHz = None,
    lean: Annotated[
        float | None,
        typer.Option(
            "--lean",
            metavar="CENTS",
            help="Size of every half step between two letters (F# to G). Default: what the lesson "
            "file says of a note, else the system's, 90.2.",
        ),
    ] = None,
    chromatic_lean: Annotated[
        float | None,
        typer.Option(
            "--chromatic-lean",
            metavar="CENTS",
            help="Size of every half step on one letter (F to F#). Default: as above, else 113.7.",
        ),
    ] = None,
    passage: Annotated[
        list[str] | None,
        typer.Option(
            "--passage", metavar="NAME", help="Only this passage; may be given again for more."
        ),
    ] = None,
    checks: Annotated[
        bool, typer.Option("--checks", help="Show double stops with open strings to check by.")
    ] = False,
    ring: Annotated[
        bool, typer.Option("--ring", help="Show which notes make open strings answer.")
    ] = False,
    sources: Annotated[
        bool, typer.Option("--sources", help="Show where bands and advice come from.")
    ] = False,
    form: Annotated[Form | None, form_option("JSON has everything.")] = None,
    csv: AsCsv = False,
    json: AsJson = False,
) -> None:
    """Show how high each note is to sound: target, band, lean, what it must match."""
    chosen = form_of(form, _ENDINGS, request.output, csv=csv, json=json)
    _check_usage(request, system, against, strings, strings_hz)
    from skeleton.analysis.lesson_values import lean_cents  # noqa: PLC0415 - not for --help
    from skeleton.cli.reading import analysis_of, checked, tell  # noqa: PLC0415 - not for --help
    from skeleton.intonation import targets as made  # noqa: PLC0415 - when needed

    sizes = {
        "lean_cents": None if lean is None else checked("--lean", lean_cents, lean),
        "chromatic_lean_cents": None
        if chromatic_lean is None
        else checked("--chromatic-lean", lean_cents, chromatic_lean),
    }
    measured = None if strings_hz is None else frequencies(strings_hz)
    analysis = analysis_of(request)
    found = made.targets(
        analysis,
        system=system.value,
        against=against,
        strings=None if strings is None else strings.value,
        strings_hz=measured,
        passages=passage or (),
        **sizes,
    )
    tell(request, analysis.score, found.notices)
    if chosen is Form.TEXT:
        from skeleton.export.lists import targets_text as text  # noqa: PLC0415 - when needed

        wanted = text.Wanted(checks, ring, sources, shows_signs(request))
        show(request, text.targets_document(found, wanted))
        return
    from skeleton.export.lists import targets as data  # noqa: PLC0415 - when needed

    deliver(request, data.targets_csv(found) if chosen is Form.CSV else data.targets_json(found))


def _check_usage(
    request: Request,
    system: SystemName,
    against: str | None,
    strings: TunedName | None,
    strings_hz: str | None,
) -> None:
    """Refuse options that contradict each other, whatever the score.

    Raises:
        typer.BadParameter: they do.
    """
    if system is SystemName.JUST and against is None:
        raise typer.BadParameter("just is pure against one open string; give --against, such as D")
    if system is not SystemName.JUST and against is not None:
        raise typer.BadParameter("--against belongs to --system just")
    if strings_hz is not None and strings is not None:
        raise typer.BadParameter("give --strings or --strings-hz, not both")
    if strings_hz is not None and request.a4_hz is not None:
        raise typer.BadParameter("measured strings give the A4; leave out --a4 or --strings-hz")
