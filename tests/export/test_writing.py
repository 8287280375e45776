"""Files are written whole or not at all."""

from __future__ import annotations

import os
import stat
import sys
from pathlib import Path

import pytest

from skeleton.errors import OptionError, OutputError
from skeleton.export.writing import write_atomically, write_set

posix = pytest.mark.skipif(sys.platform == "win32", reason="modes and links as on POSIX")


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_text_is_written_as_utf8_with_its_own_line_ends(tmp_path: Path) -> None:
    write_atomically(tmp_path / "a.csv", "F♯\r\nG\n")
    assert (tmp_path / "a.csv").read_bytes() == "F♯\r\nG\n".encode()
    assert names(tmp_path) == ["a.csv"]


def test_an_existing_file_is_replaced(tmp_path: Path) -> None:
    target = tmp_path / "a"
    target.write_bytes(b"a long old content")
    write_atomically(target, b"new")
    assert target.read_bytes() == b"new"


@posix
def test_permissions_are_kept_and_new_files_follow_the_umask(tmp_path: Path) -> None:
    old = tmp_path / "old"
    old.write_bytes(b"")
    old.chmod(0o640)
    write_set({old: b"x", tmp_path / "new": b"y"})
    plain = tmp_path / "plain"
    plain.write_bytes(b"")
    assert stat.S_IMODE(old.stat().st_mode) == 0o640
    assert (tmp_path / "new").stat().st_mode == plain.stat().st_mode


@posix
def test_a_link_stays_a_link_and_its_target_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    real = tmp_path / "there" / "real"
    real.write_bytes(b"old")
    link = tmp_path / "link"
    link.symlink_to(real)
    write_atomically(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"
    assert names(real.parent) == ["real"]


@posix
def test_a_pipe_is_written_to_and_not_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reading = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_atomically(pipe, b"through")
        assert os.read(reading, 20) == b"through"
    finally:
        os.close(reading)
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    assert names(tmp_path) == ["pipe"]


@posix
def test_an_open_pipe_is_written_to_by_its_number() -> None:
    reading, writing = os.pipe()
    try:
        write_atomically(Path(f"/dev/fd/{writing}"), b"through")
        assert os.read(reading, 20) == b"through"
    finally:
        os.close(reading)
        os.close(writing)


def in_a_file(folder: Path) -> Path:
    (folder / "file").write_bytes(b"")
    return folder / "file" / "x"


@pytest.mark.parametrize(
    ("place", "reason"),
    [
        (lambda folder: folder / "missing" / "x", "its folder does not exist"),
        (in_a_file, "part of this path is a file"),
        (lambda folder: folder, "this is a folder"),
        (lambda folder: folder / ("x" * 400), "name too long"),
        (lambda folder: folder / "a\0b", "null"),
    ],
)
def test_a_place_that_cannot_be_written_is_told_in_one_line(tmp_path, place, reason) -> None:
    target = place(tmp_path)
    before = names(tmp_path)
    with pytest.raises(OutputError) as told:
        write_atomically(target, b"x")
    assert reason in str(told.value).lower()
    assert "\n" not in str(told.value)
    assert names(tmp_path) == before


def test_the_input_is_not_overwritten_under_any_name(tmp_path: Path) -> None:
    etude = tmp_path / "etude.musicxml"
    etude.write_bytes(b"score")
    (tmp_path / "folder").mkdir()
    aliases = [etude, tmp_path / "folder" / ".." / "etude.musicxml"]
    if sys.platform != "win32":
        (tmp_path / "link").symlink_to(etude)
        (tmp_path / "hard").hardlink_to(etude)
        aliases += [tmp_path / "link", tmp_path / "hard"]
    for alias in aliases:
        with pytest.raises(OptionError, match="will not be overwritten"):
            write_atomically(alias, b"result", keep=[etude])
    assert etude.read_bytes() == b"score"


def test_a_set_with_one_bad_place_changes_nothing(tmp_path: Path) -> None:
    first = tmp_path / "page-1.svg"
    first.write_bytes(b"old")
    with pytest.raises(OutputError):
        write_set({first: b"new", tmp_path / "missing" / "page-2.svg": b"new"})
    assert first.read_bytes() == b"old"
    assert names(tmp_path) == ["page-1.svg"]


def test_a_set_refuses_two_results_in_one_file(tmp_path: Path) -> None:
    with pytest.raises(OptionError, match="one file"):
        write_set({tmp_path / "a": b"1", tmp_path / "." / "b" / ".." / "a": b"2"})


def test_a_failed_write_leaves_the_old_file_and_no_remains(tmp_path, monkeypatch) -> None:
    target = tmp_path / "a"
    target.write_bytes(b"old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left on device"):
        write_atomically(target, b"new")
    assert target.read_bytes() == b"old"
    assert names(tmp_path) == ["a"]
