"""Sound files: WAV, FLAC, Ogg Vorbis and MP3, one channel, written block by block.

WAV and FLAC hold 16-bit samples, rounded without dither: at the levels used here the rounding
lies more than 75 dB below the sound. Ogg Vorbis and MP3 are lossy and keep pitch, not single
samples; MP3 adds a few hundredths of a second of silence as well, and is what every phone plays.
The file is written where it is told, as it comes; whoever calls sees to it that nothing half
written is left behind. ``soundfile`` (libsndfile, LGPL) does the encoding and is imported when
the first file is written.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path, PurePath
from typing import Final

from skeleton.audio.tone import Samples, check_rate
from skeleton.errors import OptionError, OutputError

FORMATS: Final[dict[str, tuple[str, str]]] = {
    ".wav": ("WAV", "PCM_16"),
    ".flac": ("FLAC", "PCM_16"),
    ".ogg": ("OGG", "VORBIS"),
    ".mp3": ("MP3", "MPEG_LAYER_III"),
}
"""Ending of a file's name to libsndfile's names of the format and its samples."""

LOSSLESS: Final = (".wav", ".flac")
"""The formats that keep single samples, so that a loop joins."""

_SMALL: Final = 1 << 14
_NO_ROOM_BYTES: Final = 1 << 17


def sound_suffix(name: PurePath, *, also: Iterable[str] = ()) -> str:
    """Return the ending of a file's name in small letters, if it names a format.

    Args:
        name: the file.
        also: other endings that are accepted.

    Raises:
        OptionError: it has none of these endings.
    """
    known = (*FORMATS, *also)
    suffix = name.suffix.lower()
    if suffix not in known:
        problem = f"no sound format {suffix!r}" if suffix else "its name has no ending"
        raise OptionError(f"{name}: {problem}; end it in {', '.join(known)}")
    return suffix


def write_sound(
    path: Path,
    blocks: Iterable[Samples],
    rate: int,
    suffix: str,
    *,
    name: PurePath | None = None,
) -> int:
    """Write blocks of samples into a file and return how many samples there were.

    Args:
        path: the file; its own name need not tell the format.
        blocks: samples of one channel from -1 to 1.
        rate: samples a second.
        suffix: a key of :data:`FORMATS`.
        name: what messages call the file; its own path by default.

    Raises:
        OptionError: no such format, or the rate is out of range.
        OutputError: the file cannot be written.
    """
    import soundfile  # noqa: PLC0415 - loads a library that nothing else needs

    if suffix not in FORMATS:
        raise OptionError(f"no sound format {suffix!r}; formats are {', '.join(FORMATS)}")
    container, samples = FORMATS[suffix]
    written = 0
    try:
        with soundfile.SoundFile(
            str(path),
            mode="w",
            samplerate=check_rate(rate),
            channels=1,
            format=container,
            subtype=samples,
        ) as file:
            for block in blocks:
                # Vorbis encoders keep what they get on the stack, so they get it in small pieces.
                for first in range(0, len(block), _SMALL):
                    file.write(block[first : first + _SMALL])
                written += len(block)
    except (soundfile.SoundFileError, RuntimeError, AssertionError) as error:
        raise OutputError(f"{name or path}: cannot be written: {_reason(path, error)}") from error
    return written


def _reason(path: Path, error: Exception) -> str:
    # libsndfile says "System error." or nothing at all, also where only the disk is full.
    with suppress(OSError):
        if shutil.disk_usage(path.parent).free < _NO_ROOM_BYTES:
            return "no space left on its disk"
    return str(error) or "the disk takes no more"
