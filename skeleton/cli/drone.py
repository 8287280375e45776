"""``skeleton drone``: pitches that sound on, to practise against."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from skeleton.cli.messages import say
from skeleton.cli.options import A4, Quiet, Request
from skeleton.cli.sound_options import (
    Rate,
    StringsHz,
    frequencies,
    names,
    progress,
    say_caution,
)


class DroneSystem(StrEnum):
    """The systems that place a drone's pitches."""

    PYTHAGOREAN = "pythagorean"
    EQUAL = "equal"


def drone(
    pitches: Annotated[
        list[str],
        typer.Argument(
            metavar="PITCH...",
            help="What sounds: D4, F#5, Bb3; or D for the open string of that name.",
            show_default=False,
        ),
    ],
    *,
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FILE", help="A .wav, .flac, .ogg or .mp3 file."),
    ],
    seconds: Annotated[
        float, typer.Option("--seconds", metavar="S", help="How long it sounds.")
    ] = 60.0,
    loop: Annotated[
        bool,
        typer.Option(
            "--loop",
            help="Make the end join the beginning, for a player that repeats. The length gives "
            "way by up to half a second.",
        ),
    ] = False,
    system: Annotated[
        DroneSystem,
        typer.Option(
            "--system",
            case_sensitive=False,
            help="In the chain of pure fifths (pythagorean), or as a keyboard (equal).",
        ),
    ] = DroneSystem.PYTHAGOREAN,
    a4: A4 = None,
    strings_hz: StringsHz = None,
    instrument: Annotated[
        str | None,
        typer.Option(
            "--instrument",
            metavar="NAME",
            help="Whose open strings: violin, viola, cello, double bass, or a list: "
            "'A3 E4 A4 E5'. Default: violin.",
        ),
    ] = None,
    rate: Rate = 44100,
    quiet: Quiet = False,
) -> None:
    """Make a drone: open strings or any pitches, in tune to a tenth of a cent."""
    if strings_hz is not None and a4 is not None:
        raise typer.BadParameter("measured strings give the A4; leave out --a4 or --strings-hz")
    if strings_hz is not None and system is DroneSystem.EQUAL:
        raise typer.BadParameter("measured strings are what they are; leave out --system equal")
    measured = None if strings_hz is None else frequencies(strings_hz)
    from skeleton.audio.drone import drone as made_of  # noqa: PLC0415 - not needed for --help
    from skeleton.audio.drone import drone_blocks  # noqa: PLC0415 - not needed for --help
    from skeleton.audio.writer import LOSSLESS, sound_suffix  # noqa: PLC0415 - not needed for --help
    from skeleton.cli.reading import decisions  # noqa: PLC0415 - not needed for --help
    from skeleton.export.tracks.sounding import named_drone, pitch_hz, strings_reference  # noqa: PLC0415
    from skeleton.export.tracks.track import write_blocks  # noqa: PLC0415 - not needed for --help

    suffix = sound_suffix(output)
    decided = decisions(Request(etude=Path(), instrument=instrument, a4_hz=a4))
    reference = strings_reference(
        decided.get("instrument"),
        decided.get("open_strings"),
        a4_hz=decided.get("a4_hz"),
        strings_hz=measured,
        system=system.value,
    )
    wanted = named_drone(reference, [name for text in pitches for name in names(text)])
    sounding = [pitch_hz(reference, one) for one in wanted]
    made = made_of(sounding, seconds, rate, loop=loop)
    with progress(made.seconds, rate) as tell:
        write_blocks(drone_blocks(made), output, rate=rate, tell=tell)
    if quiet:
        return
    tones = ", ".join(f"{one} {hz:.3f} Hz" for one, hz in zip(wanted, sounding, strict=True))
    say(f"note: {output}: {tones}; {made.seconds:.3f} s at {made.level_dbfs:.0f} dBFS")
    if loop and suffix not in LOSSLESS:
        say(f"note: {suffix} changes single samples, so a loop joins less well; take .flac")
    say_caution()
