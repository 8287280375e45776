"""Putting results into files, whole or not at all.

A result is written to a new file beside its target, and takes the target's name only when it
is complete; whoever reads the target sees the old file or the new one, never half of either.

* A target that is a symbolic link is followed: the file it points to is replaced, the link
  stays a link.
* An existing file keeps its permissions; a new one gets those the user's umask gives.
* A target that is no regular file (a terminal, a pipe, ``/dev/null``) is written to as it is.
* A set whose names come from what is read, not from a person, stays ``within`` its folder: a link
  that leads out of it is refused.
* A set of files (the pages of one print) is complete in new files before the first target
  changes.
"""

from __future__ import annotations

import os
import shutil
import stat
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from skeleton.errors import OptionError, OutputError

_BINARY: Final[int] = getattr(os, "O_BINARY", 0)
_REASONS: Final[dict[type[BaseException], str]] = {
    FileNotFoundError: "its folder does not exist; make it first",
    NotADirectoryError: "part of this path is a file, not a folder",
    IsADirectoryError: "this is a folder; name a file in it",
    PermissionError: "writing here is not allowed; choose another folder",
}


def write_atomically(path: Path, data: bytes | str, *, keep: Iterable[Path] = ()) -> None:
    """Write one file as a whole. Text is written as :func:`encoded` gives it.

    Args:
        path: where to write; an existing file is replaced.
        data: the file's content.
        keep: files that must not be replaced, such as the score that was read.

    Raises:
        OptionError: the target is one of the files to keep.
        OutputError: the folder is missing, the place cannot be written, or the disk is full.
    """
    write_set({path: data}, keep=keep)


def write_set(
    files: Mapping[Path, bytes | str], *, keep: Iterable[Path] = (), within: Path | None = None
) -> None:
    """Write several files: all are complete before the first target is replaced.

    Args:
        files: contents by name.
        keep: files that must not be replaced.
        within: a folder that no target may lie outside of, also by a link.

    Raises:
        OptionError: a target is one of the files to keep, or two targets are one file.
        OutputError: as :func:`write_atomically`; where a set fails in its last step, targets
            already replaced stay replaced, each of them whole.
    """
    targets = {path: _target(path) for path in files}
    _check(targets, tuple(keep))
    for path, target in targets.items():
        if within is not None and not target.is_relative_to(_target(within)):
            raise OutputError(f"{path}: is a link that leads out of the folder; remove the link")
    waiting: list[tuple[Path, Path, Path]] = []
    try:
        for path, data in files.items():
            content = encoded(data)
            with _told(path):
                if _is_special(path):
                    path.write_bytes(content)
                else:
                    waiting.append((path, _write_beside(targets[path], content), targets[path]))
        while waiting:
            path, temporary, target = waiting[0]
            with _told(path):
                temporary.replace(target)
            waiting.pop(0)
    finally:
        for _, temporary, _ in waiting:
            with suppress(OSError):
                temporary.unlink()


@contextmanager
def whole_file(path: Path, *, keep: Iterable[Path] = ()) -> Iterator[Path]:
    """Give a new, empty file to fill by its name; it takes the target's place when all is done.

    For results too large to hold in memory. After an error the new file is removed and the target
    is as it was.

    Args:
        path: where the result is wanted; an existing file is replaced.
        keep: files that must not be replaced, such as the score that was read.

    Raises:
        OptionError: the target is one of the files to keep.
        OutputError: the folder is missing, the place cannot be written, or the disk is full.
    """
    target = _target(path)
    _check({path: target}, tuple(keep))
    with _told(path):
        special = _is_special(path)
        folder = None if not special else tempfile.TemporaryDirectory()
        temporary = Path(folder.name) / "whole" if folder else _write_beside(target, b"")
    # What goes wrong while the file is being filled is the caller's to tell.
    try:
        yield temporary
        with _told(path):
            if special:
                with temporary.open("rb") as source, path.open("wb") as sink:
                    shutil.copyfileobj(source, sink)
            else:
                with temporary.open("rb+") as file:
                    os.fsync(file.fileno())
                temporary.replace(target)
    finally:
        with suppress(OSError):
            temporary.unlink()
        if folder is not None:
            folder.cleanup()


def encoded(data: bytes | str) -> bytes:
    r"""Return text as UTF-8 with its line ends as they are; bytes stay.

    A file name may hold bytes that are no text, which Python keeps as halves of surrogate
    pairs; they are written as escapes (``\udcff``), which JSON reads back as they were.
    """
    return data.encode("utf-8", errors="backslashreplace") if isinstance(data, str) else data


def _target(path: Path) -> Path:
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError) as error:
        raise OutputError(f"{str(path)!r}: cannot be written: {error}") from error


def _check(targets: Mapping[Path, Path], keep: tuple[Path, ...]) -> None:
    for path, target in targets.items():
        for kept in keep:
            same = False
            with suppress(OSError, ValueError):
                same = target == kept.resolve() or target.samefile(kept)
            if same:
                raise OptionError(
                    f"{path}: this is the file being read and will not be overwritten; "
                    "give --output another name"
                )
    if len(set(targets.values())) < len(targets):
        raise OptionError(f"two results would be written to one file: {next(iter(targets))}")


def _is_special(path: Path) -> bool:
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        return False
    if stat.S_ISDIR(mode):
        raise IsADirectoryError
    return not stat.S_ISREG(mode)


def _write_beside(target: Path, content: bytes) -> Path:
    temporary = target.with_name(f".{os.urandom(8).hex()}.tmp")
    descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o666)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        with suppress(FileNotFoundError):
            temporary.chmod(stat.S_IMODE(target.stat().st_mode))
    except BaseException:
        with suppress(OSError):
            temporary.unlink()
        raise
    return temporary


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the system says about a path into one line for a person."""
    try:
        yield
    except BrokenPipeError:
        raise
    except (OSError, ValueError) as error:
        reason = _REASONS.get(type(error)) or getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{path}: cannot be written: {reason}") from error
