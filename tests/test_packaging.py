"""What is handed out: the wheel and the source distribution hold what they must, and run.

Clean environments, the oldest and newest Python and the lowest dependencies are for
``.ci/packaging``, which needs a registry.
"""

from __future__ import annotations

import email
import os
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from email.message import Message
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[1]
pytest.importorskip("hatchling", reason="the build backend comes with the extra `test`")


@pytest.fixture(scope="module")
def project() -> dict:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def build_wheel(source: Path, folder: Path) -> Path:
    from hatchling.builders.wheel import WheelBuilder

    return Path(next(iter(WheelBuilder(str(source)).build(directory=str(folder)))))


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_wheel(ROOT, tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def unpacked(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a folder with what pip would put into site-packages."""
    folder = tmp_path_factory.mktemp("site")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    return folder


@pytest.fixture(scope="module")
def metadata(unpacked: Path) -> Message:
    (found,) = unpacked.glob("*.dist-info/METADATA")
    return email.message_from_string(found.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the unpacked source distribution."""
    from hatchling.builders.sdist import SdistBuilder

    folder = tmp_path_factory.mktemp("sdist")
    archive = next(iter(SdistBuilder(str(ROOT)).build(directory=str(folder))))
    with tarfile.open(archive) as packed:
        packed.extractall(folder, filter="data")
    (found,) = (path for path in folder.iterdir() if path.is_dir())
    return found


def files(folder: Path) -> set[str]:
    return {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def plain(requirement: str) -> tuple[str, frozenset[str]]:
    """Return name and bounds of a requirement, however it is written."""
    found = Requirement(requirement)
    return canonicalize_name(found.name), frozenset(map(str, found.specifier))


def run(
    site: Path, folder: Path, *arguments: str, **environment: str
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "skeleton", *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(site), "PYTHONDONTWRITEBYTECODE": "1", **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_wheel_holds_the_whole_package_and_nothing_else(unpacked: Path) -> None:
    package = {f"skeleton/{name}" for name in files(ROOT / "skeleton")}
    found = files(unpacked)
    assert {name for name in found if ".dist-info/" not in name} == package
    for ending in (".ttf", ".typ", ".css", ".js", ".html", "py.typed"):
        assert any(name.endswith(ending) for name in package), f"no {ending} in the package"


def test_the_wheel_names_its_licences_and_holds_their_texts(
    unpacked: Path, metadata: Message
) -> None:
    assert metadata["License-Expression"] == "MIT AND OFL-1.1"
    (folder,) = unpacked.glob("*.dist-info/licenses")
    kept = {path.name: path.read_text(encoding="utf-8") for path in folder.rglob("*.*")}
    assert "SIL OPEN FONT LICENSE" in kept["OFL.txt"]
    assert "MIT License" in (folder / "LICENSE").read_text(encoding="utf-8")


def test_the_metadata_say_what_the_project_says(metadata: Message, project: dict) -> None:
    assert metadata["Name"] == "etude-skeleton"
    assert metadata["Version"] == project["version"]
    assert metadata["Requires-Python"] == project["requires-python"]
    needed = metadata.get_all("Requires-Dist", [])
    assert {plain(text) for text in needed if "extra ==" not in text} == {
        plain(text) for text in project["dependencies"]
    }
    assert metadata.get_payload().startswith("# etude-skeleton")


def test_the_source_distribution_holds_the_project_and_builds_the_same_wheel(
    source: Path, wheel: Path, tmp_path: Path
) -> None:
    kept = files(source)
    for folder in ("skeleton", "tests", "examples", "scores", "tools"):
        assert {f"{folder}/{name}" for name in files(ROOT / folder)} <= kept
    assert {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", ".ci/run"} <= kept
    again = build_wheel(source, tmp_path)
    with zipfile.ZipFile(wheel) as first, zipfile.ZipFile(again) as second:
        assert {entry.filename: entry.CRC for entry in first.infolist()} == {
            entry.filename: entry.CRC for entry in second.infolist()
        }


def test_what_was_packed_runs_from_another_folder(
    unpacked: Path, tmp_path: Path, project: dict
) -> None:
    said = run(unpacked, tmp_path, "--version")
    assert said.stdout == f"skeleton {project['version']}\n"
    etude = str(ROOT / "scores" / "first-skeleton.musicxml")
    for command in (("reduce", "out.svg"), ("reduce", "out.png"), ("handout", "out.pdf")):
        done = run(unpacked, tmp_path, command[0], etude, "-q", "-o", command[1])
        assert (done.returncode, done.stderr) == (0, "")
        assert (tmp_path / command[1]).stat().st_size > 10_000


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_shells_get_a_script_that_completes(unpacked: Path, tmp_path: Path, shell: str) -> None:
    script = run(unpacked, tmp_path, _SKELETON_COMPLETE=f"source_{shell}")
    assert f"_SKELETON_COMPLETE=complete_{shell}" in script.stdout


def test_the_script_is_answered_with_the_commands(unpacked: Path, tmp_path: Path) -> None:
    asked = {"_SKELETON_COMPLETE": "complete_bash", "COMP_WORDS": "skeleton re", "COMP_CWORD": "1"}
    said = run(unpacked, tmp_path, **asked)
    assert said.stdout.split() == ["reduce"]
