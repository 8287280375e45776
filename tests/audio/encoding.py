"""What phones and video calls make of a sound: files in their formats, written by PyAV."""

from __future__ import annotations

from pathlib import Path

import numpy as np

FORMATS = {
    "aac.m4a": ("aac", "mp4", 48000),
    "aac.mov": ("aac", "mov", 44100),
    "aac.mp4": ("aac", "mp4", 44100),
    "aac.aac": ("aac", "adts", 48000),
    "opus.webm": ("libopus", "webm", 48000),
    "opus.opus": ("libopus", "ogg", 48000),
    "mp3.mp3": ("libmp3lame", "mp3", 44100),
    "amr.3gp": ("libopencore_amrnb", "3gp", 8000),
    "amr.amr": ("libopencore_amrnb", "amr", 8000),
    "flac.flac": ("flac", "flac", 44100),
    "flac.mkv": ("flac", "matroska", 44100),
    "pcm.wav": ("pcm_s16le", "wav", 48000),
    "pcm.aiff": ("pcm_s16be", "aiff", 44100),
}
"""Name of the file to codec, container and sample rate."""


def encode(
    path: Path,
    samples: np.ndarray,
    codec: str,
    container: str,
    rate: int,
    *,
    bit_rate: int | None = None,
) -> Path:
    """Write samples (one channel, or shape (n, 2)) as a file and return its path."""
    import av

    layout = "mono" if samples.ndim == 1 else "stereo"
    planes = np.atleast_2d(np.ascontiguousarray(samples.T, dtype=np.float32))
    with av.open(str(path), "w", format=container) as out:
        stream = out.add_stream(codec, rate=rate)
        stream.layout = layout
        if bit_rate:
            stream.bit_rate = bit_rate
        frame = av.AudioFrame.from_ndarray(planes, format="fltp", layout=layout)
        frame.sample_rate, frame.pts = rate, 0
        context = stream.codec_context
        cut = av.AudioResampler(
            format=context.format, layout=layout, rate=rate, frame_size=context.frame_size or 1024
        )
        for piece in [*cut.resample(frame), *cut.resample(None)]:
            out.mux(stream.encode(piece))
        out.mux(stream.encode(None))
    return path
