"""Two ways to the samples of a sound file, both block by block at the file's own rate.

``soundfile`` (libsndfile, LGPL, always there) reads WAV, FLAC, MP3, Ogg Vorbis and Opus, AIFF and
CAF. What phones and video calls give besides (AAC in M4A, MP4, MOV, 3GP; AMR; WebM) is read by
``av`` (PyAV, BSD, with FFmpeg's decoders inside its wheel), which is installed as an extra because
that wheel also carries, and the system loads with it, two video encoders under the GPL (x264 and
x265). No function of them is called here. A file that libsndfile turns down goes to ``av`` too, and
MP3 goes there first where it is installed: it finds its way again after a damaged place, where
libsndfile ends.

Files are handed over opened, never by name: a name could be taken for an address.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from skeleton.audio.formats import MP3, WAV, SoundFormat, format_of
from skeleton.errors import TakeError

if TYPE_CHECKING:
    import av

Channels = NDArray[np.float32]
"""Samples by channels: shape (n, channels); full scale is -1 to 1."""

EXTRA: Final = "pip install 'etude-skeleton[phone]'"
"""How to get the decoders for phone files."""

BLOCK: Final = 1 << 15
"""Samples in a block, for the light reader; the other gives its codec's frames."""

LONGEST_GAP_S: Final = 60.0
"""A hole in a file's own clock is filled with silence up to this length."""

_CUT_SHORT_S: Final = 0.5
"""A file that ends this much before the length it states has lost its end."""

_SMALLEST_GAP_S: Final = 0.02
_MOST_CHANNELS: Final = 32
_NO_LENGTH: Final = 0x7FFF0000


@dataclass(frozen=True, slots=True)
class Block:
    """Samples in order, and whether something before them could not be decoded."""

    samples: Channels
    damaged: bool = False


@dataclass(frozen=True, slots=True)
class Source:
    """An opened sound file: its kind, rate, channels, and the blocks, to be read once."""

    kind: SoundFormat
    rate: int
    channels: int
    blocks: Iterator[Block]


@contextmanager
def opened(path: Path) -> Iterator[Source]:
    """Open a sound file for one reading from its beginning.

    Raises:
        TakeError: there is no such file, it is no sound file, is damaged beyond reading, or is of
            a kind that needs the extra decoders and they are not installed.
    """
    kind = format_of(path)
    with path.open("rb") as file:
        light = kind.light and not (kind is MP3 and find_spec("av"))
        source = _light(file, kind) if light else None
        if source is None:
            source = _full(file, kind, path)
        if not 1 <= source.channels <= _MOST_CHANNELS or not 4000 <= source.rate <= 768000:
            raise TakeError(
                f"{path}: {source.channels} channels at {source.rate} Hz cannot be read; "
                "save it as a usual wav file"
            )
        yield source


def _light(file: Any, kind: SoundFormat) -> Source | None:  # noqa: ANN401 - any binary file
    """The file through libsndfile, or None where that does not read it."""
    import soundfile  # noqa: PLC0415 - loads a library that is not always needed

    try:
        sound = soundfile.SoundFile(_Steady(file))
    except (soundfile.SoundFileError, RuntimeError, TypeError):
        file.seek(0)
        return None

    def blocks() -> Iterator[Block]:
        done = 0
        damaged = kind is WAV and _is_cut_short(file)
        while True:
            try:
                samples = sound.read(BLOCK, dtype="float32", always_2d=True)
            except (soundfile.SoundFileError, RuntimeError):
                damaged = True
                break
            if not len(samples):
                break
            done += len(samples)
            yield Block(samples)
        if damaged or done < sound.frames - _CUT_SHORT_S * sound.samplerate:
            yield Block(np.zeros((0, sound.channels), dtype=np.float32), damaged=True)

    return Source(kind, int(sound.samplerate), int(sound.channels), blocks())


def _is_cut_short(file: Any) -> bool:  # noqa: ANN401 - any binary file
    """Whether a WAV file is shorter than its header says; recorders that stream say no length."""
    here = file.tell()
    file.seek(4)
    said = int.from_bytes(file.read(4), "little") + 8
    size = file.seek(0, 2)
    file.seek(here)
    return bool(size < said < _NO_LENGTH)


def _full(file: Any, kind: SoundFormat, path: Path) -> Source:  # noqa: ANN401 - any binary file
    """The file through FFmpeg's decoders, of its own kind only.

    Raises:
        TakeError: it cannot be opened, has no sound, or the decoders are not installed.
    """
    if find_spec("av") is None:
        raise TakeError(
            f"{path}: reading this {kind.name} file takes more decoders; install them with "
            f"{EXTRA}, or save the recording as wav or mp3"
        )
    import av  # noqa: PLC0415 - loads large libraries that are seldom needed

    # Its decoders write complaints of their own to standard error; ours are said in one line.
    av.logging.set_level(av.logging.PANIC)
    steady: Any = _Steady(file)
    try:
        container = av.open(steady, mode="r", format=kind.demuxer, metadata_errors="replace")
    except (av.FFmpegError, ValueError, OSError) as error:
        raise TakeError(
            f"{path}: is damaged or not whole ({_reason(error)}); copy or record it again"
        ) from error
    stream = container.streams.best("audio")
    if stream is None:
        container.close()
        raise TakeError(f"{path}: has no sound in it; give a recording with sound")
    try:
        rate, channels = int(stream.codec_context.sample_rate), int(stream.codec_context.channels)
    except (AttributeError, ValueError) as error:
        raise TakeError(f"{path}: its sound is of a kind that cannot be read") from error
    if not rate:
        raise TakeError(f"{path}: is damaged: it does not say its sample rate; record it again")
    return Source(kind, rate, channels, _packets(container, stream, rate, path))


class _Steady:
    """A file that answers a step to an impossible place by a number, as the decoders expect.

    Damaged files ask for such steps; an exception would be shown by the library, with its trace.
    """

    def __init__(self, file: Any) -> None:  # noqa: ANN401 - any binary file
        self.read, self.readinto, self.tell = file.read, file.readinto, file.tell
        self._seek = file.seek

    def seek(self, offset: int, whence: int = 0) -> int:
        try:
            return int(self._seek(offset, whence))
        except (OSError, ValueError, OverflowError):
            return -1


def _packets(
    container: av.container.InputContainer, stream: av.AudioStream, rate: int, path: Path
) -> Iterator[Block]:
    """Decode packet by packet, so that a bad one costs no more than itself."""
    import av  # noqa: PLC0415 - loaded already

    to_float = av.AudioResampler(format="flt", layout=stream.layout, rate=rate)
    start_s = (container.start_time or 0) / av.time_base
    channels = stream.codec_context.channels
    done = 0
    damaged = False
    with container:
        packets = container.demux(stream)
        while True:
            try:
                packet = next(packets)
            except StopIteration:
                break
            except (av.FFmpegError, ValueError):
                damaged = True
                break
            try:
                frames = packet.decode()
            except EOFError:
                break
            except (av.FFmpegError, ValueError):
                damaged = True
                continue
            for frame in frames:
                if frame.sample_rate != rate:
                    raise TakeError(
                        f"{path}: its sample rate changes after {done / rate:.1f} s; "
                        "cut it there and give the parts"
                    )
                gap = _gap(frame, start_s, done, rate)
                try:
                    pieces = [_array(one, channels) for one in to_float.resample(frame)]
                except (av.FFmpegError, ValueError) as error:
                    raise TakeError(
                        f"{path}: its kind of sound changes after {done / rate:.1f} s; "
                        "cut it there and give the parts"
                    ) from error
                samples = np.concatenate([np.zeros((gap, channels), dtype=np.float32), *pieces])
                done += len(samples)
                yield Block(samples, damaged)
                damaged = False
        promised_s = (container.duration or 0) / av.time_base if _says_its_length(container) else 0
        if damaged or done / rate < promised_s - _CUT_SHORT_S:
            yield Block(np.zeros((0, channels), dtype=np.float32), damaged=True)


def _says_its_length(container: av.container.InputContainer) -> bool:
    """Whether the length is written in the file, not guessed from its size and bit rate."""
    return container.format.name.startswith(("mov", "matroska"))


def _gap(frame: av.AudioFrame, start_s: float, done: int, rate: int) -> int:
    """Samples that the file's clock says are missing before this frame.

    A second one for a recorder's rounding and a codec's own delay, which are no gaps.
    """
    if frame.pts is None or frame.time_base is None:
        return 0
    missing_s = float(frame.pts * frame.time_base) - start_s - done / rate
    return round(missing_s * rate) if _SMALLEST_GAP_S < missing_s <= LONGEST_GAP_S else 0


def _array(frame: av.AudioFrame, channels: int) -> Channels:
    return np.asarray(frame.to_ndarray(), dtype=np.float32).reshape(-1, channels)


_REASONS: Final[dict[str, str]] = {
    "InvalidDataError": "its data make no sense",
    "EOFError": "it ends too early",
}


def _reason(error: Exception) -> str:
    return _REASONS.get(type(error).__name__, str(error).split(":")[0].strip("[]0123456789 "))
