"""A practice track, from its schedule to the bytes or samples of a file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path, PurePath
from typing import Final

from skeleton.audio.sounds import Sound, counted, render
from skeleton.audio.tone import Samples
from skeleton.audio.writer import sound_suffix, write_sound
from skeleton.export.tracks.midi_track import midi_bytes
from skeleton.export.tracks.schedule import Schedule
from skeleton.export.writing import whole_file, write_atomically

MIDI_SUFFIX: Final = ".mid"
"""Ending of a MIDI file's name."""


def track_suffix(name: PurePath) -> str:
    """Return the ending of a track's file name, if it names a format.

    Raises:
        OptionError: it is none of ``.wav``, ``.flac``, ``.ogg``, ``.mp3`` and ``.mid``.
    """
    return sound_suffix(name, also=(MIDI_SUFFIX,))


def track_blocks(made: Schedule, rate: int) -> Iterator[Samples]:
    """Return the track's samples, block by block; memory does not grow with its length.

    Raises:
        OptionError: a frequency or the rate is out of range.
    """
    sounds = [
        Sound(event.start_s, event.end_s, event.hz, event.level_dbfs) for event in made.events
    ]
    return render(sounds, made.end_s, rate)


def write_track(
    made: Schedule,
    path: Path,
    *,
    rate: int = 44100,
    instrument: str = "violin",
    keep: Iterable[Path] = (),
    tell: Callable[[int], None] | None = None,
) -> None:
    """Write a practice track to a file, whole or not at all.

    Args:
        made: what sounds when.
        path: the file; its ending says whether sound or MIDI.
        rate: samples a second of a sound file.
        instrument: whose program plays a MIDI file.
        keep: files that must not be replaced, such as the score.
        tell: is told after each block how many samples were added.

    Raises:
        OptionError: the ending names no format, or a value does not fit that format.
        OutputError: the file cannot be written.
    """
    if track_suffix(path) == MIDI_SUFFIX:
        write_atomically(path, midi_bytes(made, instrument=instrument), keep=keep)
    else:
        write_blocks(track_blocks(made, rate), path, rate=rate, keep=keep, tell=tell)


def write_blocks(
    blocks: Iterable[Samples],
    path: Path,
    *,
    rate: int,
    keep: Iterable[Path] = (),
    tell: Callable[[int], None] | None = None,
) -> None:
    """Write samples to a sound file, whole or not at all; arguments as :func:`write_track`.

    Raises:
        OptionError: the ending names no format.
        OutputError: the file cannot be written.
    """
    suffix = sound_suffix(path)
    with whole_file(path, keep=keep) as temporary:
        told = blocks if tell is None else counted(blocks, tell)
        write_sound(temporary, told, rate, suffix, name=path)
