"""Where results go when the place is a trap: links, loops, a folder prepared by somebody else.

A file that a person names is written through a link, and the link stays. Names that the program
makes itself, as for a folder of handouts, never lead out of that folder.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from skeleton.cli.app import app
from skeleton.cli.handout_state import STATE_FILE, is_current, read_state
from skeleton.errors import OutputError
from skeleton.export.writing import whole_file, write_atomically, write_set

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="links as on POSIX")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [*map(str, arguments)])


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture
def etude(made, tmp_path: Path) -> Path:
    path = tmp_path / "etude.musicxml"
    path.write_bytes(made.whole(made.pair()))
    return path


def test_a_link_to_nothing_yet_makes_its_target(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    link = tmp_path / "link"
    link.symlink_to(tmp_path / "there" / "new")
    write_atomically(link, b"whole")
    assert link.is_symlink()
    assert (tmp_path / "there" / "new").read_bytes() == b"whole"
    assert names(tmp_path / "there") == ["new"]


@pytest.mark.parametrize("kind", ["loop", "missing folder", "folder"])
def test_a_link_that_leads_to_no_file(tmp_path: Path, kind: str) -> None:
    link = tmp_path / "link"
    if kind == "loop":
        link.symlink_to(tmp_path / "other")
        (tmp_path / "other").symlink_to(link)
    elif kind == "missing folder":
        link.symlink_to(tmp_path / "no" / "x")
    else:
        (tmp_path / "real").mkdir()
        link.symlink_to(tmp_path / "real")
    before = names(tmp_path)
    with pytest.raises(OutputError) as told:
        write_atomically(link, b"x")
    assert "\n" not in str(told.value)
    assert names(tmp_path) == before


def test_a_chain_of_links_is_followed_to_its_end(tmp_path: Path) -> None:
    real = tmp_path / "real"
    real.write_bytes(b"old")
    for first, second in (("c", "real"), ("b", "c"), ("a", "b")):
        (tmp_path / first).symlink_to(tmp_path / second)
    with whole_file(tmp_path / "a") as new:
        new.write_bytes(b"new")
    assert real.read_bytes() == b"new"
    assert names(tmp_path) == ["a", "b", "c", "real"]
    assert all((tmp_path / one).is_symlink() for one in "abc")


def test_a_command_that_fails_leaves_what_a_link_leads_to(etude: Path, tmp_path: Path) -> None:
    real = tmp_path / "real.json"
    real.write_text("old")
    (tmp_path / "link.json").symlink_to(real)
    assert run("outline", etude, "--part", "Tuba", "-o", tmp_path / "link.json").exit_code == 1
    assert real.read_text() == "old"
    assert run("outline", etude, "-o", tmp_path / "link.json", "-q").exit_code == 0
    assert json.loads(real.read_text())["format"] == 1
    assert (tmp_path / "link.json").is_symlink()


@pytest.mark.parametrize("name", ["etude.musicxml", "etude.toml"])
def test_the_etude_is_safe_behind_any_number_of_links(etude: Path, tmp_path: Path, name) -> None:
    etude.with_suffix(".toml").write_text('rule = "second"\n')
    before = (tmp_path / name).read_bytes()
    (tmp_path / "one.json").symlink_to(tmp_path / name)
    (tmp_path / "two.json").symlink_to(tmp_path / "one.json")
    (tmp_path / "hard.json").hardlink_to(tmp_path / name)
    for place in ("two.json", "hard.json"):
        result = run("outline", etude, "-o", tmp_path / place)
        assert result.exit_code == 1
        assert "will not be overwritten" in result.stderr
    assert (tmp_path / name).read_bytes() == before


def test_a_set_stays_within_its_folder(tmp_path: Path) -> None:
    folder, outside = tmp_path / "out", tmp_path / "outside"
    folder.mkdir()
    outside.mkdir()
    (outside / "kept").write_bytes(b"old")
    (folder / "inner").write_bytes(b"old")
    (folder / "b").symlink_to(outside / "kept")
    (folder / "c").symlink_to(folder / "inner")
    (folder / "deep").symlink_to(outside)
    for bad in ("b", "deep/new", "../new"):
        with pytest.raises(OutputError, match="leads out of the folder"):
            write_set({folder / "a": b"x", folder / bad: b"x"}, within=folder)
        assert names(folder) == ["b", "c", "deep", "inner"]
        assert names(outside) == ["kept"]
    assert (outside / "kept").read_bytes() == b"old"
    write_set({folder / "c": b"new"}, within=folder)
    assert (folder / "inner").read_bytes() == b"new"
    # A folder that is a link itself is where the person wants it.
    (tmp_path / "link").symlink_to(folder)
    write_set({tmp_path / "link" / "a": b"x"}, within=tmp_path / "link")
    assert (folder / "a").read_bytes() == b"x"


def test_handouts_of_a_folder_do_not_leave_theirs(made, tmp_path: Path) -> None:
    scores, out, outside = tmp_path / "scores", tmp_path / "out", tmp_path / "outside"
    for folder in (scores, out, outside):
        folder.mkdir()
    for name in ("one", "two"):
        (scores / f"{name}.musicxml").write_bytes(made.whole(made.pair()))
    (outside / "thesis.pdf").write_bytes(b"thesis")
    (out / "one.pdf").symlink_to(outside / "thesis.pdf")
    result = run("handout", scores, "--output-dir", out, "--jobs", "1")
    assert result.exit_code == 1
    assert "one.pdf: is a link that leads out of the folder" in result.stderr
    assert (outside / "thesis.pdf").read_bytes() == b"thesis"
    assert (out / "two.pdf").read_bytes().startswith(b"%PDF-")
    assert names(out) == [STATE_FILE, "one.pdf", "two.pdf"]
    assert names(outside) == ["thesis.pdf"]


@pytest.mark.parametrize("name", ["/dev/zero", "../etude.pdf", "a/../../b"])
def test_a_state_that_names_other_places_is_not_followed(tmp_path: Path, name: str) -> None:
    known = {"from": "abc", "files": {name: "0" * 64}}
    (tmp_path / STATE_FILE).write_text(json.dumps({"format": 1, "handouts": {"x.pdf": known}}))
    assert not is_current(tmp_path, read_state(tmp_path)["x.pdf"], "abc")


@pytest.mark.parametrize(
    "text", ["[" * 100_000, "{", "[]", '{"format": 1, "handouts": 3}', "\udcff", '{"format": 1}'],
)  # fmt: skip
def test_a_state_that_makes_no_sense_is_none(tmp_path: Path, text: str) -> None:
    (tmp_path / STATE_FILE).write_bytes(text.encode("utf-8", "surrogateescape"))
    assert read_state(tmp_path) == {}


def test_nobody_else_can_put_a_link_where_the_new_file_is_made(tmp_path: Path, monkeypatch) -> None:
    # The new file's name cannot be guessed; were it, a file already there is not written to.
    monkeypatch.setattr(os, "urandom", bytes)
    (tmp_path / "outside").write_bytes(b"old")
    (tmp_path / f".{'00' * 8}.tmp").symlink_to(tmp_path / "outside")
    with pytest.raises(OutputError):
        write_atomically(tmp_path / "a", b"new")
    assert (tmp_path / "outside").read_bytes() == b"old"
    assert not (tmp_path / "a").exists()
