"""A zipped score to the bytes of the score in it.

``META-INF/container.xml`` names the root files; the first that is MusicXML is taken. Neither a
``mimetype`` entry nor a media type is asked for, since hardly any exporter writes them. Nothing
is unpacked to disk, so names that lead out of the archive lead nowhere.

Limits: a member unpacks to at most 200 million bytes, and to at most 400 times its packed size
where it is larger than ten million (packed scores are 10 to 60 times smaller, common practice,
no source). It is stored or packed with DEFLATE, as MusicXML asks; other methods pack millions of
bytes into one step of unpacking, before any limit is met.

Sources: MusicXML 4.0, "Compressed .MXL files"; PKWARE APPNOTE (names are CP437 unless flagged
as UTF-8).
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator
from typing import Final

from skeleton.errors import ScoreError
from skeleton.score.model import Notice
from skeleton.score.tree import HEAD_BYTES, local_name, looks_like_score, parse

MAX_BYTES: Final = 200_000_000
"""The largest score that is read, packed or not."""

_MAX_RATIO: Final = 400
_ALWAYS_FINE: Final = 10_000_000
_MAX_CANDIDATES: Final = 50
_LONGEST_SHOWN: Final = 150
_METHODS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_CONTAINER: Final = "meta-inf/container.xml"
_SUFFIXES: Final = (".musicxml", ".xml")


def is_zip(data: bytes) -> bool:
    """Whether the bytes begin like a zip archive, also an empty one."""
    return data[:4] in (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")


def unpack(data: bytes, name: str) -> tuple[bytes, tuple[Notice, ...]]:
    """Return the bytes of the score in a zip archive, and what was odd about the archive.

    Raises:
        ScoreError: a damaged, encrypted or oversized archive, or one without a score.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _unpack(archive, name)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, LookupError) as error:
        raise ScoreError(
            f"{name}: the zip archive is damaged ({_shown(error)}); get it again"
        ) from None
    except (NotImplementedError, RuntimeError) as error:
        raise ScoreError(f"{name}: the zip archive cannot be unpacked: {_shown(error)}") from None


def _unpack(archive: zipfile.ZipFile, name: str) -> tuple[bytes, tuple[Notice, ...]]:
    members = [member for member in archive.infolist() if not member.is_dir()]
    container = next((m for m in members if _plain(m.filename) == _CONTAINER), None)
    named: list[str] = []
    if container is not None:
        root, _ = parse(_member(archive, container, name), f"{name}: META-INF/container.xml")
        named = [
            element.get("full-path") or ""
            for element in root.iter("{*}rootfile")
            if local_name(element) == "rootfile"
        ]
    likely = _likely(members)
    for member in _named(members, likely, named[:_MAX_CANDIDATES]):
        if len(named) == 1 or looks_like_score(_head(archive, member, name)):
            return _member(archive, member, name), ()
    for member in likely[:_MAX_CANDIDATES]:
        if looks_like_score(_head(archive, member, name)):
            data = _member(archive, member, name)
            found = f"the score is taken from {_shown(member.filename)}"
            if container is None:
                return data, (
                    Notice("no-container", f"the archive has no container file; {found}"),
                )
            return data, (Notice("bad-container", f"the container names no score; {found}"),)
    raise ScoreError(
        f"{name}: there is no MusicXML score in this zip archive; give the score itself"
    )


def _head(archive: zipfile.ZipFile, member: zipfile.ZipInfo, name: str) -> bytes:
    """Return the first bytes of a member, enough to tell what it is."""
    return _member(archive, member, name, HEAD_BYTES)


def _member(
    archive: zipfile.ZipFile, member: zipfile.ZipInfo, name: str, most: int = MAX_BYTES + 1
) -> bytes:
    size, packed = member.file_size, member.compress_size
    if member.compress_type not in _METHODS:
        raise ScoreError(
            f"{name}: {_shown(member.filename)} cannot be unpacked: it is packed by another method "
            "than DEFLATE; export it again"
        )
    if member.flag_bits & 1:
        raise ScoreError(
            f"{name}: {_shown(member.filename)} is encrypted; save the score without password"
        )
    if size > MAX_BYTES or (size > _ALWAYS_FINE and size > _MAX_RATIO * max(packed, 1)):
        raise ScoreError(
            f"{name}: {_shown(member.filename)} unpacks to {size} bytes from {packed}, which no "
            "score does; export it again"
        )
    with archive.open(member) as stream:
        data = stream.read(most)
    if len(data) > MAX_BYTES:
        raise ScoreError(
            f"{name}: {_shown(member.filename)} unpacks to more than {MAX_BYTES} bytes"
        )
    if is_zip(data):
        raise ScoreError(
            f"{name}: {_shown(member.filename)} is itself a zip archive; unpack it first"
        )
    return data


def _named(
    members: list[zipfile.ZipInfo], likely: list[zipfile.ZipInfo], paths: list[str]
) -> Iterator[zipfile.ZipInfo]:
    """Find the members that a container names, however the archive has encoded their names."""
    by_name: dict[str, zipfile.ZipInfo] = {}
    for spell in (str, _as_utf8, _as_latin):
        for member in members:
            by_name.setdefault(_plain(spell(member.filename)), member)
    for path in paths:
        found = by_name.get(_plain(path))
        if found is not None:
            yield found
        elif len(likely) == 1:
            yield likely[0]


def _likely(members: list[zipfile.ZipInfo]) -> list[zipfile.ZipInfo]:
    """Return the members that may be scores, likelier ones first."""
    found = [
        member
        for member in members
        if _plain(member.filename).endswith(_SUFFIXES)
        and not _plain(member.filename).startswith(("meta-inf/", "__macosx/"))
    ]
    return sorted(found, key=lambda member: not _plain(member.filename).endswith(".musicxml"))


def _shown(said: object) -> str:
    """Return a member's name, or what the archive's reader says, for a message."""
    text = str(said)[:_LONGEST_SHOWN]
    return "".join(char if char.isprintable() else "\ufffd" for char in text)


def _plain(path: str) -> str:
    return path.replace("\\", "/").removeprefix("./").lstrip("/").casefold()


def _as_utf8(path: str) -> str:
    try:
        return path.encode("cp437").decode("utf-8")
    except UnicodeError:
        return path


def _as_latin(path: str) -> str:
    try:
        return path.encode("cp437").decode("windows-1252")
    except UnicodeError:
        return path
