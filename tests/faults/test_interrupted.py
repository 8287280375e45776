"""What was there before is whole after a kill, on a full disk, and with two runs at once.

Each test runs the program as a user does, in a process of its own.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

ROOT = Path(__file__).resolve().parents[2]
SCORES = ROOT / "scores"
ETUDE = SCORES / "first-skeleton.musicxml"
OLD = b"what was there before\n"

COMMANDS = {
    "outline": ("outline", ETUDE, "--json", "-o", "out.json"),
    "checklist": ("checklist", ETUDE, "-o", "out.txt"),
    "reduce": ("reduce", ETUDE, "-o", "out.svg"),
    "annotate": ("annotate", ETUDE, "-o", "out.musicxml"),
    "handout": ("handout", ETUDE, "-o", "out.pdf"),
    "playalong": ("playalong", ETUDE, "-o", "out.wav"),
    "drone": ("drone", "D", "A", "--seconds", "20", "-o", "out.flac"),
}

posix = pytest.mark.skipif(os.name != "posix", reason="signals and mounts of POSIX")


def start(folder: Path, *arguments: object, **more: object) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "skeleton", *map(str, arguments)],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        **more,  # type: ignore[call-overload]
    )


def finish(process: subprocess.Popen[bytes], limit_s: float = 60) -> tuple[int, bytes]:
    _, said = process.communicate(timeout=limit_s)
    return process.returncode, said


def group_is_gone(group: int, limit_s: float = 10) -> bool:
    """Whether no process of a group is left, after a while."""
    until = time.monotonic() + limit_s
    while time.monotonic() < until:
        if not living(group):
            return True
        time.sleep(0.05)
    return False


def living(group: int) -> list[int]:
    """Return the processes of a group that run still (a zombie does not)."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[2]) == group and fields[0] != "Z":
            found.append(int(stat.parent.name))
    return found


def kill_at(folder: Path, command: tuple[object, ...], after_s: float, sign: int) -> int:
    """Run a command over an old output, send it a signal, and return its exit code."""
    output = folder / str(command[-1])
    output.write_bytes(OLD)
    process = start(folder, *command)
    try:
        process.wait(after_s)
    except subprocess.TimeoutExpired:
        process.send_signal(sign)
    code, _ = finish(process)
    assert group_is_gone(process.pid), "something the command started outlived it"
    return code


def whole_results(folder: Path, command: tuple[object, ...]) -> bytes:
    """Return what the command writes when nothing comes between."""
    process = start(folder, *command)
    code, said = finish(process)
    assert code == 0, said
    return (folder / str(command[-1])).read_bytes()


def rounds(folder: Path, name: str, count: int, sign: int, seed: int) -> list[bool]:
    """Kill a command at random moments; tell for each whether the new result was there."""
    command = COMMANDS[name]
    started = time.monotonic()
    new = whole_results(folder, command)
    takes_s = time.monotonic() - started
    assert new != OLD
    random = Random(seed)
    seen = []
    for _ in range(count):
        kill_at(folder, command, random.uniform(0.3, 1.05) * takes_s, sign)
        found = (folder / str(command[-1])).read_bytes()
        assert found in (OLD, new), f"{len(found)} bytes that are neither the old nor the new"
        seen.append(found == new)
    return seen


@posix
@pytest.mark.parametrize("name", ["reduce", "drone"])
def test_a_killed_command_leaves_the_old_file_or_the_new(tmp_path: Path, name: str) -> None:
    assert len(rounds(tmp_path, name, 2, signal.SIGKILL, seed=1)) == 2


@posix
@pytest.mark.long
@pytest.mark.parametrize("name", COMMANDS)
def test_killed_at_many_moments(tmp_path: Path, name: str) -> None:
    seen = rounds(tmp_path, name, 15, signal.SIGKILL, seed=2)
    assert not all(seen), "no kill came before the end: the test shows nothing"


@posix
@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM])
def test_a_stopped_command_leaves_no_remains(tmp_path: Path, sign: int) -> None:
    """Interrupted at the keyboard or ended by the system, it takes its new file away."""
    command = ("drone", "D", "A", "--seconds", "1000", "-o", "out.wav")
    (tmp_path / "out.wav").write_bytes(OLD)
    process = start(tmp_path, *command)
    until = time.monotonic() + 30
    while not any(file.stat().st_size > 100_000 for file in tmp_path.glob(".*")):
        assert process.poll() is None
        assert time.monotonic() < until
        time.sleep(0.005)
    process.send_signal(sign)
    code, said = finish(process)
    assert code == 128 + sign, (code, said)
    assert b"Traceback" not in said
    assert [file.name for file in tmp_path.iterdir()] == ["out.wav"]
    assert (tmp_path / "out.wav").read_bytes() == OLD


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Give a folder on a file system of 64 kB."""
    place = tmp_path / "disk"
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "none", place], capture_output=True, check=False
    )
    if made.returncode:
        pytest.skip("no right to mount a small file system")
    yield place
    subprocess.run(["umount", "-l", place], check=True)


@posix
@pytest.mark.parametrize("name", ["reduce", "handout", "playalong", "drone"])
def test_a_full_disk_is_one_line_and_the_old_file_stays(small_disk: Path, name: str) -> None:
    command = COMMANDS[name]
    output = small_disk / str(command[-1])
    output.write_bytes(OLD)
    # Whatever the size of the result: no room is left beside the old file.
    (small_disk / "filler").write_bytes(b"x" * 48_000)
    code, said = finish(start(small_disk, *command))
    assert code == 1, said
    lines = said.decode().splitlines()
    assert [line for line in lines if line.startswith("skeleton:")] == lines[-1:]
    assert "no space left on " in lines[-1].lower()
    assert output.read_bytes() == OLD
    assert sorted(file.name for file in small_disk.iterdir()) == sorted([output.name, "filler"])


@posix
def test_a_journal_on_a_full_disk_keeps_what_it_has(small_disk: Path) -> None:
    kept = finish(start(small_disk, "journal", "list", "--journal", "j.sqlite"))
    assert kept[0] in (0, 1)
    take = small_disk / "take.json"
    take.write_text("{}")
    (small_disk / "filler").write_bytes(b"x" * 60_000)
    code, said = finish(
        start(small_disk, "keep", ETUDE, "take.json", "--student", "A", "--journal", "j.sqlite")
    )
    assert code == 1
    assert b"Traceback" not in said
    assert said.decode().splitlines()[-1].startswith("skeleton:")


@posix
def test_a_place_for_reading_only_is_one_line(tmp_path: Path) -> None:
    place = tmp_path / "still"
    place.mkdir()
    (place / "out.svg").write_bytes(OLD)
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "ro", "none", place], capture_output=True, check=False
    )
    if made.returncode:
        if os.geteuid() == 0:
            pytest.skip("no right to mount a file system that is for reading only")
        place.chmod(0o500)
    try:
        code, said = finish(start(tmp_path, "reduce", ETUDE, "-o", place / "out.svg"))
        batch = finish(start(tmp_path, "handout", ETUDE, "--output-dir", place / "new"))
    finally:
        if made.returncode:
            place.chmod(0o700)
        else:
            subprocess.run(["umount", "-l", place], check=True)
    for code_seen, words in ((code, said), batch):
        assert code_seen == 1
        assert words.decode().splitlines()[-1].startswith("skeleton:"), words
    assert (place / "out.svg").read_bytes() == OLD


@pytest.mark.parametrize("name", ["reduce", "drone"])
def test_two_runs_into_one_file(tmp_path: Path, name: str) -> None:
    """The file is the work of one of the two, whole."""
    command = COMMANDS[name]
    other = {"reduce": ("--stage", "all"), "drone": ("--a4", "442")}[name]
    results = set()
    for options in ((), other):
        (tmp_path / "alone").mkdir(exist_ok=True)
        code, said = finish(start(tmp_path / "alone", *command[:-2], *options, *command[-2:]))
        assert code == 0, said
        results.add((tmp_path / "alone" / str(command[-1])).read_bytes())
    assert len(results) == 2
    both = [start(tmp_path, *command[:-2], *more, *command[-2:]) for more in ((), other)]
    assert [finish(one)[0] for one in both] == [0, 0]
    assert (tmp_path / str(command[-1])).read_bytes() in results
    left = {file.name for file in tmp_path.iterdir()}
    assert left == {"alone", str(command[-1])}


def batch(folder: Path, jobs: int) -> tuple[object, ...]:
    return ("handout", folder, "--output-dir", "out", "--jobs", jobs)


@pytest.fixture
def etudes(tmp_path: Path) -> Path:
    """Twelve etudes that take a moment each."""
    folder = tmp_path / "etudes"
    folder.mkdir()
    text = ETUDE.read_bytes()
    for number in range(12):
        (folder / f"etude-{number}.musicxml").write_bytes(text)
    return folder


@posix
@pytest.mark.parametrize("jobs", [1, 2])
@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_a_batch_that_is_stopped_goes_on_where_it_was(
    tmp_path: Path, etudes: Path, jobs: int, sign: int
) -> None:
    process = start(tmp_path, *batch(etudes, jobs))
    out = tmp_path / "out"
    until = time.monotonic() + 60
    while not list(out.glob("*.pdf")):
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < until
        time.sleep(0.02)
    process.send_signal(sign)
    code, said = finish(process)
    assert code == (-sign if sign == signal.SIGKILL else 128 + sign), (code, said)
    assert b"Traceback" not in said
    assert group_is_gone(process.pid), "a process of the batch outlived it"
    first = {file.name: file.stat().st_mtime_ns for file in out.glob("*.pdf")}
    assert 1 <= len(first) < 12
    for name in first:
        assert (out / name).read_bytes().rstrip().endswith(b"%%EOF")
    if sign != signal.SIGKILL:
        assert not list(out.glob(".*.tmp"))
    code, said = finish(start(tmp_path, *batch(etudes, jobs)))
    assert code == 0
    # One that was written but not yet noted down when the end came is made again.
    (unchanged,) = re.findall(r"written, (\d+) unchanged", said.decode())
    assert len(first) - jobs <= int(unchanged) <= len(first), said
    assert len(list(out.glob("*.pdf"))) == 12
    again, said = finish(start(tmp_path, *batch(etudes, jobs)))
    assert again == 0
    assert "0 handouts written, 12 unchanged" in said.decode(), said
