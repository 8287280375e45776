"""What kind of sound file this is, told from its first bytes and never from its name.

Phones and messengers rename files freely, and a decoder that is left to guess will also follow
play lists to other files or to the network. So the kind is settled here, and only decoders of
that kind are asked. The signatures are those of the formats' own specifications: RIFF/WAVE, FLAC
(RFC 9639), Ogg (RFC 3533), EBML (RFC 8794), ISO base media (ISO/IEC 14496-12, and QuickTime files
that lack its first box), AMR (RFC 4867), AIFF, CAF, MPEG audio and ADTS frames.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from skeleton.errors import TakeError

HEAD_BYTES: Final = 1 << 16
"""How much of a file is looked at; an ID3 tag with a picture may be longer, and says so itself."""


@dataclass(frozen=True, slots=True)
class SoundFormat:
    """A kind of sound file.

    Attributes:
        name: what a person calls it.
        demuxer: FFmpeg's name of the kind.
        light: whether libsndfile reads it as well (not every codec inside every container).
    """

    name: str
    demuxer: str
    light: bool


WAV: Final = SoundFormat("WAV", "wav", light=True)
FLAC: Final = SoundFormat("FLAC", "flac", light=True)
OGG: Final = SoundFormat("Ogg", "ogg", light=True)
AIFF: Final = SoundFormat("AIFF", "aiff", light=True)
CAF: Final = SoundFormat("CAF", "caf", light=True)
MP3: Final = SoundFormat("MP3", "mp3", light=True)
ADTS: Final = SoundFormat("AAC", "aac", light=False)
MP4: Final = SoundFormat("MP4/M4A/MOV/3GP", "mov", light=False)
WEBM: Final = SoundFormat("WebM/Matroska", "matroska", light=False)
AMR: Final = SoundFormat("AMR", "amr", light=False)

KNOWN: Final = "wav, flac, mp3, ogg, opus, m4a, aac, mp4, mov, 3gp, amr, webm, aiff"
"""For messages: what can be read."""

_BOXES: Final = frozenset({b"ftyp", b"moov", b"mdat", b"free", b"skip", b"wide", b"pnot"})


def sound_format(head: bytes) -> SoundFormat | None:
    """Return the kind of file that begins with these bytes, or None for no sound file.

    Args:
        head: the first bytes, at best :data:`HEAD_BYTES` of them.
    """
    if head[:4] in (b"RIFF", b"RF64", b"RIFX") and head[8:12] == b"WAVE":
        return WAV
    for signature, kind in (
        (b"fLaC", FLAC), (b"OggS", OGG), (b"caff", CAF), (b"#!AMR", AMR),
        (b"\x1a\x45\xdf\xa3", WEBM),
    ):  # fmt: skip
        if head.startswith(signature):
            return kind
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        return AIFF
    if head[4:8] in _BOXES:
        return MP4
    return _tagged(head) if head[:3] == b"ID3" else _frames(head)


def _tagged(head: bytes) -> SoundFormat:
    """After an ID3 tag come MPEG audio frames as a rule, but FLAC and AAC files may have one."""
    if len(head) < 10:
        return MP3
    size = 0
    for byte in head[6:10]:  # seven bits to the byte (ID3v2.4, section 6.2)
        size = size << 7 | (byte & 0x7F)
    after = head[10 + size :]
    if after.startswith(b"fLaC"):
        return FLAC
    return _frames(after) or MP3


def _frames(head: bytes) -> SoundFormat | None:
    """MPEG audio and ADTS share a sync word; the two layer bits are 00 in ADTS only.

    One sync word may be chance, so a byte that may follow it is asked for as well.
    """
    if len(head) < 4 or head[0] != 0xFF or head[1] & 0xE0 != 0xE0:
        return None
    layer = head[1] >> 1 & 3
    if layer == 0:
        return ADTS if head[1] & 0xF0 == 0xF0 and head[2] >> 2 & 0xF <= 12 else None
    reserved_version = head[1] >> 3 & 3 == 1
    free_or_bad_rate = head[2] >> 4 in (0, 15) or head[2] >> 2 & 3 == 3
    return None if reserved_version or free_or_bad_rate else MP3


def format_of(path: Path) -> SoundFormat:
    """Return the kind of a file.

    Raises:
        TakeError: there is no such file, it cannot be read, is empty, or is no sound file.
    """
    try:
        if not path.is_file():
            problem = "is a folder" if path.is_dir() else "there is no such file"
            raise TakeError(f"{path}: {problem}; give a recording ({KNOWN})")
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
    except OSError as error:
        raise TakeError(f"{path}: cannot be read: {error.strerror or error}") from error
    except ValueError as error:
        raise TakeError(f"{str(path)!r}: no name of a file") from error
    if not head:
        raise TakeError(f"{path}: is empty; record or copy it again")
    found = sound_format(head)
    if found is None:
        raise TakeError(f"{path}: is no sound file; give a recording ({KNOWN})")
    return found
