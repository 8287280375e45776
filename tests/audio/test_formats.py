from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.audio import formats
from skeleton.audio.formats import format_of, sound_format
from skeleton.errors import TakeError

MAGIC = (
    # RIFF/WAVE; FLAC: RFC 9639, 6; Ogg: RFC 3533, 6; EBML: RFC 8794, 8; AMR: RFC 4867, 5.1;
    # ISO base media: ISO/IEC 14496-12, 4.3; sync words of ADTS and MPEG audio: ISO/IEC 13818-7 and
    # 11172-3. The clause numbers are from memory.
    (b"RIFF\x24\x00\x00\x00WAVEfmt ", formats.WAV),
    (b"fLaC\x00\x00\x00\x22", formats.FLAC),
    (b"OggS\x00\x02", formats.OGG),
    (b"\x1a\x45\xdf\xa3\x01", formats.WEBM),
    (b"#!AMR\n\x3c", formats.AMR),
    (b"\x00\x00\x00\x20ftypM4A ", formats.MP4),
    (b"\x00\x00\x00\x18ftyp3gp4", formats.MP4),
    (b"\x00\x00\x00\x08wide\x00\x00", formats.MP4),
    (b"FORM\x00\x00\x10\x00AIFFCOMM", formats.AIFF),
    (b"\xff\xfb\x90\x64\x00", formats.MP3),
    (b"\xff\xf1\x50\x80\x02", formats.ADTS),
    (b"ID3\x04\x00\x00\x00\x00\x00\x02\x00\x00\xff\xfb\x90\x64", formats.MP3),
    (b"ID3\x04\x00\x00\x00\x00\x00\x02\x00\x00fLaC\x00", formats.FLAC),
    (b"ID3\x04\x00\x00\x00\x00\x7f\x7f", formats.MP3),
)


@pytest.mark.parametrize(("head", "kind"), MAGIC)
def test_the_first_bytes_tell_the_kind(head, kind) -> None:
    assert sound_format(head) is kind


@pytest.mark.parametrize(
    "head",
    [
        b"",
        b"%PDF-1.7",
        b"<?xml version='1.0'?>",
        b"PK\x03\x04",
        b"\x89PNG\r\n",
        b"RIFF\x24\x00\x00\x00AVI ",
        b"#EXTM3U\n",
        b"ffconcat version 1.0\nfile /etc/passwd\n",
        b"\xff\xfe<\x00?\x00",
        b"\xff\xff\xff\xff",
    ],
)
def test_what_is_no_sound_is_told_apart(head) -> None:
    assert sound_format(head) is None


@given(st.binary(max_size=64))
def test_any_bytes_give_a_kind_or_none(head) -> None:
    found = sound_format(head)
    assert found is None or found.demuxer


def test_what_cannot_be_a_recording_is_said_in_one_line(tmp_path) -> None:
    (tmp_path / "empty.wav").write_bytes(b"")
    (tmp_path / "letter.wav").write_text("Dear student", encoding="utf-8")
    for name, told in (
        ("missing.wav", "no such file"),
        ("", "folder"),
        ("empty.wav", "empty"),
        ("letter.wav", "no sound file"),
    ):
        with pytest.raises(TakeError, match=told) as caught:
            format_of(tmp_path / name)
        assert "\n" not in str(caught.value)
        assert str(tmp_path) in str(caught.value)
