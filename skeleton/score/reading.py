"""Read a score from a file, from bytes, or again from what was read before.

The kind of file is told by what it holds, then by its suffix: MusicXML, plain or zipped, is
read here; other formats are converted first (:mod:`skeleton.score.foreign`).
"""

from __future__ import annotations

import dataclasses
import os
from pathlib import Path

from skeleton.errors import ScoreError
from skeleton.score import foreign
from skeleton.score.collecting import no_collection
from skeleton.score.container import MAX_BYTES, is_zip, unpack
from skeleton.score.model import Notice, Score, Source
from skeleton.score.musicxml import read_score


def read(path: str | os.PathLike[str]) -> Score:
    """Read a score file: MusicXML, plain or zipped, or ABC, Humdrum, MEI, MuseData, MIDI.

    Odd but readable input gives a score with :attr:`Score.notices`.

    Raises:
        ScoreError: there is no such file, or it cannot be read as a score.
    """
    file = Path(path)
    try:
        if file.is_dir():
            raise ScoreError(f"{file.name}: this is a folder; give a score file")
        if file.stat().st_size > MAX_BYTES:
            raise ScoreError(f"{file.name}: larger than {MAX_BYTES} bytes, which no score is")
        data = file.read_bytes()
    except FileNotFoundError:
        raise ScoreError(f"{path}: there is no such file; check the name") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise ScoreError(f"{path}: the file cannot be read ({reason})") from None
    # The name stands in every output; a picture or a page can hold no control characters.
    name = "".join(char if char.isprintable() else "\ufffd" for char in file.name)
    return read_bytes(data, name)


def read_bytes(data: bytes, name: str) -> Score:
    """Read a score from the bytes of a file; ``name`` is for messages and its suffix.

    Raises:
        ScoreError: the bytes cannot be read as a score.
    """
    notices: tuple[Notice, ...] = ()
    if is_zip(data):
        data, notices = unpack(data, name)
    form = foreign.recognise(data, name)
    if form is None:
        return _with(read_source(Source(name, data)), notices)
    data, cost = foreign.convert(data, name, form)
    return _with(read_source(Source(name, data, form.name)), notices + cost)


def read_source(source: Source) -> Score:
    """Read a score again from its MusicXML bytes: notes, ids and slurs come out the same.

    Notices about the archive or the conversion that the bytes came from are not repeated.

    Raises:
        ScoreError: the bytes cannot be read as MusicXML.
    """
    with no_collection():
        return read_score(source)


def _with(score: Score, notices: tuple[Notice, ...]) -> Score:
    return dataclasses.replace(score, notices=notices + score.notices) if notices else score
