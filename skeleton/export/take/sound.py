"""The take itself as a sound that a page can play: one channel, compressed."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from skeleton.audio.resample import Mono
from skeleton.export.handout.page_sounds import Sound
from skeleton.export.tracks.track import write_blocks

_SUFFIX: Final = ".mp3"
_MIME: Final = "audio/mpeg"


def take_sound(samples: Mono, rate: int, name: str, label: str) -> Sound:
    """Return a take as MP3; moments keep their times where a player follows the file's header.

    Args:
        samples: the take.
        rate: its samples a second.
        name: what the file's name begins with.
        label: what it is, in words.

    Raises:
        OutputError: it cannot be encoded.
    """
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"take{_SUFFIX}"
        write_blocks([samples.clip(-1.0, 1.0)], path, rate=rate)
        return Sound(f"{name}-take{_SUFFIX}", _MIME, path.read_bytes(), label)
