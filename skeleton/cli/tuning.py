"""``skeleton tuning``: how the open strings in a recording are tuned, and what to turn."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from skeleton.cli.delivery import deliver, show, shows_signs
from skeleton.cli.messages import say
from skeleton.cli.options import A4, Output, Quiet, Request

if TYPE_CHECKING:
    from skeleton.theory.instrument import Instrument

LONGEST_S = 600.0
"""Seconds of a recording that are listened to; nobody tunes for longer."""


def tuning(
    take: Annotated[
        Path,
        typer.Argument(
            metavar="TAKE",
            help="A recording of the open strings, one after another, two seconds each: wav, mp3, "
            "m4a and what else phones make.",
            show_default=False,
        ),
    ],
    *,
    instrument: Annotated[
        str,
        typer.Option(
            "--instrument",
            metavar="NAME",
            help="violin, viola, cello, double bass, or the open strings: 'A3 E4 A4 E5'.",
        ),
    ] = "violin",
    a4: A4 = None,
    tolerance: Annotated[
        float | None,
        typer.Option(
            "--tolerance", metavar="CENTS", help="What a string may be off. Default: 3 cents."
        ),
    ] = None,
    until: Annotated[
        float | None,
        typer.Option(
            "--until",
            metavar="SECONDS",
            help="Listen only to the beginning, where the strings are played.",
        ),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="For a machine to read.")] = False,
    output: Output = None,
    quiet: Quiet = False,
) -> None:
    """Show how the open strings are tuned: Hz, cents, fifths, and which peg to turn which way."""
    if until is not None and not until > 0:
        raise typer.BadParameter("give seconds above 0", param_hint="--until")
    from skeleton.cli.reading import checked  # noqa: PLC0415 - not for --help
    from skeleton.listening import tuning as judged  # noqa: PLC0415 - not for --help
    from skeleton.theory import tuning as theory  # noqa: PLC0415 - not for --help

    chosen = checked("--instrument", _instrument, instrument)
    a4_hz = checked("--a4", theory.check_a4_hz, theory.DEFAULT_A4_HZ if a4 is None else a4)
    limit = judged.STRING_TOLERANCE_CENTS if tolerance is None else tolerance
    if not 0.0 < limit <= judged.LARGEST_TOLERANCE_CENTS:
        raise typer.BadParameter(
            f"give cents above 0 and at most {judged.LARGEST_TOLERANCE_CENTS:g}",
            param_hint="--tolerance",
        )
    from skeleton.audio import decode, strings  # noqa: PLC0415 - loads numpy
    from skeleton.errors import TakeError  # noqa: PLC0415 - beside it
    from skeleton.export.lists import tuning as shown  # noqa: PLC0415 - when needed
    from skeleton.export.lists.words import one_line  # noqa: PLC0415 - when needed

    recording = decode.open_recording(take)
    if not quiet:
        for notice in recording.notices:
            say(one_line(f"note: {notice.message}"))
        if until is None and recording.duration_s > LONGEST_S:
            say(f"note: only the first {LONGEST_S / 60:g} minutes are listened to; see --until")
    sound = decode.samples(recording, 0.0, min(until or LONGEST_S, LONGEST_S))
    found = strings.soundings(sound, decode.RATE, chosen, a4_hz)
    heard = strings.open_strings(found, chosen)
    if all(one.hz is None for one in heard):
        raise TakeError(
            f"{take}: none of the open strings {' '.join(map(str, chosen.open_strings))} can be "
            "heard; play them one after another, two seconds each"
        )
    state = judged.tuning(heard, chosen, a4_hz, limit)
    request = Request(etude=take, output=output, quiet=quiet)
    if json or (output is not None and output.suffix.lower() == ".json"):
        deliver(request, shown.tuning_json(state, recording))
    else:
        show(request, shown.tuning_document(state, recording, signs=shows_signs(request)))


def _instrument(text: str) -> Instrument:
    """The instrument with a name, or with the open strings listed.

    Raises:
        OptionError: neither.
    """
    from skeleton.theory import instrument  # noqa: PLC0415 - when needed
    from skeleton.theory.pitch import parse_pitch  # noqa: PLC0415 - when needed

    names = re.split(r"[\s,]+", text.strip())
    if any(char.isdigit() for char in text):
        return instrument.custom([parse_pitch(name) for name in names])
    return instrument.instrument(text)
