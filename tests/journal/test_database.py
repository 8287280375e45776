"""The journal as a file: what is put in comes out, once, also after another version or program."""

from __future__ import annotations

import hashlib
import os
import sqlite3
import subprocess
import sys
from pathlib import Path
from random import Random
from types import ModuleType

import pytest

from skeleton.analysis.results import Analysis
from skeleton.errors import JournalError, TakeError
from skeleton.journal.database import Journal
from skeleton.journal.place import default_journal
from skeleton.journal.records import Music
from skeleton.journal.schema import MIGRATIONS, VERSION
from skeleton.journal.take import EarMark, MarkedTake, MeasuredNote, MeasuredTake

Etude = tuple[Analysis, Music]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "deep" / "journal.sqlite"


def test_in_and_out(path: Path, etude: Etude, students: ModuleType) -> None:
    music = etude[1]
    with Journal(path) as journal:
        for day in range(3):
            assert journal.record("Ana", music, students.take(music, day, {}, Random(day)))
        assert not journal.record(" ana ", music, students.take(music, 1, {}, Random(1)))
        (held,) = journal.holdings()
        assert (held.student, held.takes, held.first_day) == ("Ana", 3, "2026-01-05")
        days = journal.days("Ana", music.content)
    assert {one.note for one in days} == set(music.keys.values())
    assert {len(one.days) for one in days} == {3}
    expected = students.take(music, 1, {}, Random(1)).notes[0]
    got = next(one for one in days if one.note == "1:0:F#4")
    assert got.deviations_cents[1] == expected.deviation_cents
    assert got.leans_cents[1] == expected.lean_cents
    assert (got.in_tune[1], got.flat[1], got.sharp[1]) == (
        int(expected.verdict == "in tune"),
        int(expected.verdict == "flat"),
        int(expected.verdict == "sharp"),
    )
    with Journal(path) as journal:
        assert journal.days("Ana", music.content) == days
        assert journal.days("Bo", music.content) == ()
        assert journal.days("Ana", "0" * 64) == ()


def test_verdicts_are_counted_as_they_were_given(path: Path, etude: Etude) -> None:
    music = etude[1]
    note = next(iter(music.keys))
    given = ["flat", "flat", "sharp", "in tune", "cannot tell"]
    notes = tuple(MeasuredNote(note, -1.0, 2.0, one) for one in given)
    with Journal(path) as journal:
        journal.record("Ana", music, MeasuredTake("2026-03-14", notes))
        (day,) = journal.days("Ana", music.content)
    assert (day.times, day.in_tune, day.flat, day.sharp) == ((5,), (1,), (2,), (1,))


def test_a_day_is_the_mean_of_its_takes(path: Path, etude: Etude) -> None:
    music = etude[1]
    note = next(iter(music.keys))
    with Journal(path) as journal:
        for hour, cents, lean in ((8, -4.0, 94.0), (9, -8.0, None), (10, 6.0, 84.5)):
            one = MeasuredNote(note, cents, 2.0, "in tune", lean)
            journal.record("Ana", music, MeasuredTake(f"2026-03-14T{hour:02}:00:00", (one,)))
        (day,) = journal.days("Ana", music.content)
        assert day.deviations_cents == (-2.0,)
        assert day.leans_cents == (89.25,)


def test_a_score_exported_again_continues_the_record(
    path: Path, etude: Etude, students: ModuleType
) -> None:
    again = students.analysed(reexported=True)[1]
    with Journal(path) as journal:
        journal.record("Ana", etude[1], students.take(etude[1], 0, {}, Random(0)))
        journal.record("Ana", again, students.take(again, 1, {}, Random(1)))
        assert [one.takes for one in journal.holdings()] == [2]
        assert {day.note for day in journal.days("Ana", again.content)} == set(again.keys.values())


def test_notes_of_another_etude(path: Path, etude: Etude) -> None:
    take = MeasuredTake("2026-03-14", (MeasuredNote("zz", 0, 1, "in tune"),))
    with Journal(path) as journal:
        with pytest.raises(TakeError, match="'zz' of the take is not in this etude"):
            journal.record("Ana", etude[1], take)
        with pytest.raises(JournalError, match="no name"):
            journal.record(" ", etude[1], MeasuredTake("2026-03-14", ()))
        assert journal.holdings() == ()


def test_marks(path: Path, etude: Etude, students: ModuleType) -> None:
    music = etude[1]
    first, second, *_ = music.keys
    with Journal(path) as journal:
        journal.record("Ana", music, students.take(music, 0, {}, Random(0)))
        for says in ("sharp", "flat"):  # the second time in place of the first
            marked = MarkedTake("2026-01-05", (EarMark(first, says),))
            journal.add_marks("Ana", music, [marked])
        heard = {one.note: one.says for one in journal.heard("Ana", music.content)}
        assert len(heard) == len(music.keys)
        assert heard.pop(music.keys[first]) == "flat"
        assert set(heard.values()) == {None}
        # Two takes on one day: marks with a day only belong to neither.
        journal.record("Ana", music, MeasuredTake(
            "2026-01-05T18:00:00", (MeasuredNote(first, 1, 1, "in tune"),)))  # fmt: skip
        assert journal.heard("Ana", music.content) == ()
        marked = MarkedTake("2026-01-05T18:00:00", (EarMark(first, "unsure"),))
        journal.add_marks("Ana", music, [marked])
        (one,) = journal.heard("Ana", music.content)
        assert (one.note, one.says, one.deviation_cents) == (music.keys[first], "unsure", 1)
        with pytest.raises(TakeError, match="'zz' of the marks"):
            journal.add_marks("Ana", music, [MarkedTake("2026-01-05", (EarMark("zz", "flat"),))])
        assert second in music.keys


def test_forgotten_is_gone_from_the_disk(path: Path, etude: Etude, students: ModuleType) -> None:
    music = etude[1]
    name, recording = "Wilhelmine Xylander", "xylander-monday.wav"
    with Journal(path) as journal:
        for day in range(20):
            made = students.take(music, day, {}, Random(day))
            journal.record(name, music, MeasuredTake(made.date, made.notes, recording))
            journal.record("Bo", music, made)
        journal.add_marks(name, music, [MarkedTake("2026-01-05", ())])
        journal.add_lesson(name, music, "2026-01-05", "title = 'for Xylander'")
        own = Music("cd" * 32, "Wilhelmine's own waltz", music.keys)
        journal.record(name, own, students.take(own, 0, {}, Random(0)))
        before = b"".join(one.read_bytes() for one in path.parent.iterdir())
        assert name.encode() in before
        bo = journal.days("Bo", music.content)
        assert journal.forget(name.upper()) == 21
        assert [one.student for one in journal.holdings()] == ["Bo"]
        assert journal.days("Bo", music.content) == bo
        left = b"".join(one.read_bytes() for one in path.parent.iterdir())
        for trace in (b"Xylander", b"xylander", b"Wilhelmine", b"cdcdcd"):
            assert trace not in left
        with pytest.raises(JournalError, match="no student"):
            journal.forget(name)


def test_who_reads_meanwhile_is_told(
    path: Path, etude: Etude, students: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("skeleton.journal.connection.WAIT_S", 0.1)
    music = etude[1]
    name = "Wilhelmine Xylander"
    with Journal(path) as journal:
        journal.record(name, music, students.take(music, 0, {}, Random(0)))
        with Journal(path) as other:
            other.connection.execute("BEGIN")
            other.connection.execute("SELECT count(*) FROM take").fetchone()
            with pytest.raises(JournalError, match="is out of it, but another program"):
                journal.forget(name)
            other.connection.execute("COMMIT")
    assert not any(b"Xylander" in one.read_bytes() for one in path.parent.iterdir())


def test_backup(path: Path, tmp_path: Path, etude: Etude, students: ModuleType) -> None:
    music = etude[1]
    copy = tmp_path / "copy.sqlite"
    with Journal(path) as journal:
        journal.record("Ana", music, students.take(music, 0, {}, Random(0)))
        journal.backup(copy)
        days = journal.days("Ana", music.content)
        journal.record("Ana", music, students.take(music, 1, {}, Random(1)))
    assert sorted(one.name for one in tmp_path.iterdir()) == ["copy.sqlite", "deep"]
    with Journal(copy) as journal:
        assert journal.days("Ana", music.content) == days


def earlier(path: Path, version: int) -> None:
    """Write a journal as that version left it, with one student and what it could keep."""
    path.parent.mkdir(parents=True)
    connection = sqlite3.connect(path)
    for step in MIGRATIONS[:version]:
        connection.executescript(step)
    connection.executescript(
        f"PRAGMA user_version = {version}; PRAGMA application_id = 1165251427;"
        "INSERT INTO student VALUES (1, 'Ana');"
        f"INSERT INTO etude VALUES (1, '{'ab' * 32}', 'Old');"
        "INSERT INTO note VALUES (1, 1, '1:0:F#4');"
        "INSERT INTO take VALUES (1, 1, 1, '2020-01-02', 737426, 'old.wav', 'f');"
        "INSERT INTO measurement VALUES (1, 1, 1, 737426, 1, 1, -7.5, 2.5, 2, 97.7, 0.5);"
    )
    if version >= 2:
        connection.executescript(
            "INSERT INTO listening VALUES (1, 1, '2020-01-02', 737426);"
            "INSERT INTO ear_mark VALUES (1, 1, '2020-01-02', 737426, 1, 'flat');"
        )
    if version >= 4:
        table = "note_day" if version == 4 else "note_stretch"
        connection.execute(
            f"INSERT INTO {table} VALUES (1, 1, 1, 737426, 1, -7.5, 0, 1, 0, 1, 97.7)"
        )
    connection.commit()
    connection.close()


IN_USE = (
    "44fac48ca022f61d",
    "d440a7e62e88bf76",
    "c3d7ed7d8326ef7a",
    "e1295e0ff11bc7e0",
    "97bce2e099bd59f1",
)
"""What each step was when it came into use, by its SHA-256. A step is never changed again."""


def test_steps_in_use_stay_as_they_were() -> None:
    now = tuple(hashlib.sha256(step.encode()).hexdigest()[:16] for step in MIGRATIONS)
    assert now[: len(IN_USE)] == IN_USE
    assert len(now) == len(IN_USE)


@pytest.mark.parametrize("version", range(1, VERSION + 1))
def test_every_earlier_version_is_brought_here(
    path: Path, tmp_path: Path, etude: Etude, version: int
) -> None:
    earlier(path, version)
    with Journal(tmp_path / "new.sqlite") as journal:
        new = journal.connection.execute("SELECT sql FROM sqlite_schema ORDER BY name").fetchall()
    with Journal(path) as journal:
        is_now = journal.connection.execute(
            "SELECT sql FROM sqlite_schema ORDER BY name"
        ).fetchall()
        assert is_now == new
        assert journal.connection.execute("PRAGMA user_version").fetchone() == (VERSION,)
        assert journal.connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        (day,) = journal.days("Ana", "ab" * 32)
        assert (day.deviations_cents, day.flat, day.leans_cents) == ((-7.5,), (1,), (97.7,))
        assert [one.says for one in journal.heard("Ana", "ab" * 32)] == ["flat"] * (version >= 2)
        journal.add_lesson("Ana", etude[1], "2026-01-05", "rule = 'last'")


def test_a_later_version_is_left_alone(path: Path) -> None:
    earlier(path, VERSION)
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version = {VERSION + 1}")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(JournalError, match="later version"):
        Journal(path)
    assert path.read_bytes() == before


def test_what_is_no_journal_is_left_alone(path: Path) -> None:
    path.parent.mkdir()
    for content in (b"title = 'a lesson file'\n" * 100, b"x" * 5000):
        path.write_bytes(content)
        with pytest.raises(JournalError, match="is no journal, or damaged"):
            Journal(path)
        assert path.read_bytes() == content
    path.unlink()
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE theirs (id)")
    connection.commit()
    connection.close()
    before = path.read_bytes()
    with pytest.raises(JournalError, match="another program"):
        Journal(path)
    assert path.read_bytes() == before


def test_no_journal_is_made_by_looking(path: Path) -> None:
    with pytest.raises(JournalError, match="there is no journal"):
        Journal(path, create=False)
    assert not path.parent.exists()


def test_a_folder_that_cannot_be(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for where in (tmp_path, tmp_path / "file" / "journal"):
        with pytest.raises(JournalError, match="--journal"):
            Journal(where)


@pytest.mark.skipif(sys.platform == "win32", reason="rights of another kind")
@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may write anywhere")
def test_no_right_to_write(path: Path) -> None:
    Journal(path).close()
    path.chmod(0o400)
    with pytest.raises(JournalError, match="--journal"):
        Journal(path)


WRITER = """
import os
import sys
from dataclasses import replace
from random import Random
sys.path[:0] = sys.argv[1].split(os.pathsep)
import students
from skeleton.journal.database import Journal
music = students.analysed()[1]
who, path, first, count = sys.argv[2], sys.argv[3], int(sys.argv[4]), int(sys.argv[5])
for place in range(first, first + count):
    made = students.take(music, place % 300, {}, Random(place))
    with Journal(path) as journal:
        journal.record(who, music, replace(made, path=str(place)))
    print(place, flush=True)
"""


def writer(path: Path, who: str, first: int, count: int) -> subprocess.Popen[str]:
    here = Path(__file__).parent
    root = here.parents[1]
    helpers = os.pathsep.join(map(str, (here, here.parent / "helpers")))
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, helpers, who, str(path), str(first), str(count)],
        stdout=subprocess.PIPE, text=True, cwd=root,
        env={**os.environ, "PYTHONPATH": str(root)},
    )  # fmt: skip


def test_two_processes_write_at_once(path: Path) -> None:
    # Both also make the file, and set its mode.
    both = [writer(path, who, 0, 40) for who in ("Ana", "Bo")]
    for process in both:
        told, _ = process.communicate(timeout=60)
        assert process.returncode == 0
        assert len(told.split()) == 40
    with Journal(path) as journal:
        assert [(one.student, one.takes) for one in journal.holdings()] == [("Ana", 40), ("Bo", 40)]


def crash(path: Path, times: int, seed: int) -> int:
    """Kill a writer at random moments; return how many takes were confirmed, all of them there."""
    chance, confirmed, first = Random(seed), set(), 0
    for _ in range(times):
        process = writer(path, "Ana", first, 1000)
        assert process.stdout is not None
        # Not while it is still starting: after its first confirmation, a moment of chance.
        confirmed.add(int(process.stdout.readline()))
        try:
            process.wait(timeout=chance.uniform(0, 0.08))
        except subprocess.TimeoutExpired:
            process.kill()
        confirmed |= {int(line) for line in process.stdout.read().split()}
        process.wait()
        process.stdout.close()
        first = max(confirmed) + 2  # one more may be there that was not confirmed
        with Journal(path) as journal:
            held = {int(one.take.path) for one in journal.everything() if one.take}
            check = journal.connection.execute("PRAGMA integrity_check").fetchall()
            whole = journal.connection.execute(
                "SELECT min(n), max(n) FROM (SELECT count(*) AS n FROM take AS t "
                "LEFT JOIN measurement AS m ON m.take = t.id GROUP BY t.id)"
            ).fetchone()
        assert check == [("ok",)]
        assert whole == (24, 24)  # no take is there in part
        assert confirmed <= held
    return len(confirmed)


def test_killed_at_random_moments_nothing_confirmed_is_lost(path: Path) -> None:
    assert crash(path, times=5, seed=1) >= 5


@pytest.mark.long
def test_killed_a_hundred_times(path: Path) -> None:
    assert crash(path, times=100, seed=2) >= 100


def test_where_it_lies() -> None:
    home = Path.home()
    tail = Path("etude-skeleton") / "journal.sqlite"
    data = Path("/data").absolute()
    assert default_journal({"XDG_DATA_HOME": str(data)}, "linux") == data / tail
    for environment in ({}, {"XDG_DATA_HOME": ""}, {"XDG_DATA_HOME": "relative"}):
        assert default_journal(environment, "linux") == home / ".local" / "share" / tail
    assert default_journal({}, "darwin") == home / "Library" / "Application Support" / tail
    assert default_journal({"LOCALAPPDATA": str(data)}, "win32") == data / tail
