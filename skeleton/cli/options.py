"""Options that every command on an etude takes, stated once.

A command is written as a function whose first parameter is a :class:`Request`;
:func:`takes_etude` replaces that parameter by the shared argument and options. Options given
here go before the lesson file.
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, get_type_hints

import typer

RULES = ("second", "first", "last", "pairs", "on-beat")
"""The rules to offer; those of the analysis, which is not imported for ``--help``."""


@dataclass(frozen=True, slots=True)
class Request:
    """What was asked for: the etude, and the options that say how to read it.

    None means not given: the lesson file decides, or the default.
    """

    etude: Path
    lesson: Path | None = None
    no_lesson: bool = False
    rule: str | None = None
    instrument: str | None = None
    part: str | None = None
    key: str | None = None
    key_signs: bool | None = None
    a4_hz: float | None = None
    output: Path | None = None
    quiet: bool = False


def lesson_file(etude: Path) -> Path:
    """Return where the lesson file of an etude is looked for: beside it, with ending ``.toml``."""
    return etude.parent / f"{etude.stem}.toml"


Etude = Annotated[
    Path,
    typer.Argument(
        metavar="ETUDE",
        help="The score: MusicXML (.musicxml, .xml, .mxl), or a format that can be converted.",
        show_default=False,
    ),
]
Etudes = Annotated[
    list[Path],
    typer.Argument(
        metavar="ETUDE...",
        help="The scores: MusicXML (.musicxml, .xml, .mxl), or a format that can be converted; "
        "or a folder of MusicXML scores.",
        show_default=False,
    ),
]
LessonFile = Annotated[
    Path | None,
    typer.Option(
        "--lesson",
        metavar="FILE",
        help="The teacher's lesson file. Default: etude.toml beside etude.musicxml, if there.",
    ),
]
NoLesson = Annotated[bool, typer.Option("--no-lesson", help="Take no lesson file.")]
Rule = Annotated[
    str | None,
    typer.Option(
        "--rule",
        metavar="|".join(RULES),
        autocompletion=lambda: list(RULES),
        help="Which notes make the skeleton: of every slur the second, first or last note; the "
        "second of slurs of two (pairs); or the notes on the beat. Default: second.",
    ),
]
InstrumentName = Annotated[
    str | None,
    typer.Option(
        "--instrument",
        metavar="NAME",
        help="violin, viola, cello, double bass, or the open strings: 'A3 E4 A4 E5'. "
        "Default: what the part's name or its range says.",
    ),
]
PartName = Annotated[
    str | None,
    typer.Option(
        "--part", metavar="PART", help="Read this part only: its name or id. Default: every part."
    ),
]
KeyName = Annotated[
    str | None,
    typer.Option(
        "--key",
        metavar="KEY",
        help="The key signature, where the file has lost it: 'D major', 'e minor', or sharps "
        "as a number (-3 is three flats).",
    ),
]
KeySigns = Annotated[
    bool | None,
    typer.Option(
        "--key-signs/--no-key-signs",
        help="Treat the key's own sharps and flats as accidentals too.",
        show_default=False,
    ),
]
A4 = Annotated[
    float | None,
    typer.Option("--a4", metavar="HZ", help="Pitch of A4 in Hz. Default: 440."),
]
Output = Annotated[
    Path | None,
    typer.Option(
        "--output",
        "-o",
        metavar="FILE",
        help="Write to this file instead of standard output.",
    ),
]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Leave out the notes about the file.")]


def _request(
    etude: Etude,
    *,
    output: Output = None,
    lesson: LessonFile = None,
    no_lesson: NoLesson = False,
    rule: Rule = None,
    instrument: InstrumentName = None,
    part: PartName = None,
    key: KeyName = None,
    key_signs: KeySigns = None,
    a4: A4 = None,
    quiet: Quiet = False,
) -> Request:
    if lesson is not None and no_lesson:
        raise typer.BadParameter("give --lesson or --no-lesson, not both")
    return Request(
        etude=etude,
        lesson=lesson,
        no_lesson=no_lesson,
        rule=rule,
        instrument=instrument,
        part=part,
        key=key,
        key_signs=key_signs,
        a4_hz=a4,
        output=output,
        quiet=quiet,
    )


def takes_etude(command: Callable[..., None]) -> Callable[..., None]:
    """Return the command with its request spelled out as the shared argument and options.

    Args:
        command: takes a :class:`Request` first, then its own options as typer declares them.
    """
    return _spelled_out(command, lambda etude, given: _request(etude, **given), Etude)


def takes_etudes(command: Callable[..., None]) -> Callable[..., None]:
    """Return the command with its requests spelled out as shared arguments and options.

    Args:
        command: takes a tuple of :class:`Request` first, one for each etude that was named, then
            its own options as typer declares them.
    """
    return _spelled_out(
        command, lambda etudes, given: tuple(_request(one, **given) for one in etudes), Etudes
    )


def _spelled_out(
    command: Callable[..., None],
    ask: Callable[[Any, dict[str, Any]], object],
    argument: object,
) -> Callable[..., None]:
    """Replace a command's first parameter by the shared argument and options."""
    shared = _parameters(_request)
    own = _parameters(command)[1:]
    names = {parameter.name for parameter in shared}
    etude = shared[0].replace(annotation=argument)

    @functools.wraps(command)
    def run(**given: Any) -> None:  # noqa: ANN401 - whatever the options are
        taken = {name: given.pop(name) for name in list(given) if name in names}
        command(ask(taken.pop("etude"), taken), **given)

    parameters = [etude, *own, *shared[1:]]
    run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    run.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
    return run


def _parameters(function: Callable[..., object]) -> list[inspect.Parameter]:
    hints = get_type_hints(function, include_extras=True)
    return [
        parameter.replace(annotation=hints[name], kind=inspect.Parameter.KEYWORD_ONLY)
        for name, parameter in inspect.signature(function).parameters.items()
    ]
