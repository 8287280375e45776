"""``skeleton keep``, ``progress`` and ``journal`` as a user runs them, one after the other."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
from datetime import date, timedelta
from pathlib import Path
from random import Random

import pytest
from typer.testing import CliRunner, Result

from skeleton.cli.app import app

PAIRS = "F#4 G4 C#5 D5 F#5 G5"
DAYS = 14
FIRST = date(2026, 1, 5)


def score_text(first_id: int = 0) -> str:
    notes = []
    for place, name in enumerate(PAIRS.split()):
        alter = int("#" in name)
        notes.append(
            f'<note id="i{first_id + place}"><pitch><step>{name[0]}</step><alter>{alter}</alter>'
            f"<octave>{name[-1]}</octave></pitch><duration>1</duration><voice>1</voice>"
            f'<notations><slur type="{"stop" if place % 2 else "start"}"/></notations></note>'
        )
    return (
        '<score-partwise version="4.0"><work><work-title>Made for this</work-title></work>'
        '<part-list><score-part id="P1"><part-name>Violin</part-name>'
        '</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1'
        "</divisions><time><beats>6</beats><beat-type>4</beat-type></time></attributes>"
        f"{''.join(notes)}</measure></part></score-partwise>"
    )


@pytest.fixture
def etude(tmp_path: Path) -> Path:
    path = tmp_path / "etude.musicxml"
    path.write_text(score_text(), encoding="utf-8")
    return path


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "book.sqlite"


def report(etude: Path, day: int, *, flat_cents: float = 15.0) -> Path:
    """Write what listening gives, for a student whose F sharps are flat."""
    chance = Random(day)
    notes = []
    for place, name in enumerate(PAIRS.split()):
        off = chance.gauss(-flat_cents if name.startswith("F#") else 0, 3)
        notes.append(
            {
                "id": f"i{place}",
                "off_cents": round(off, 2),
                "u_cents": 2.0,
                "verdict": "flat" if off < -8 else "in tune",
                "lean_cents": 90.2 - off if "#" in name else None,
            }
        )
    take = {
        "format": 1,
        "etude": {"sha256": hashlib.sha256(etude.read_bytes()).hexdigest()},
        "take": {"name": "take.wav", "date": (FIRST + timedelta(days=day)).isoformat()},
        "notes": notes,
    }
    path = etude.parent / f"take{day}.json"
    path.write_text(json.dumps(take), encoding="utf-8")
    return path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [*map(str, arguments)])


def done(*arguments: object) -> str:
    result = run(*arguments)
    assert result.exit_code == 0, result.stderr
    return result.stdout


@pytest.fixture
def kept(etude: Path, book: Path) -> Path:
    takes = [report(etude, day) for day in range(DAYS)]
    text = done("keep", etude, *takes, "--student", "Ana", "--journal", book)
    assert f"Ana: {DAYS} takes of this etude" in text
    return book


def test_what_returns(etude: Path, kept: Path) -> None:
    text = done("progress", etude, "--journal", kept)
    assert "Ana: 14 takes, 2026-01-05 to 2026-01-18" in text
    assert "K: F#, octaves 4 and 5" in text
    assert "flat again and again" in text
    assert "14 of 14 flat" in text
    assert "half step below G" in text
    data = json.loads(done("progress", etude, "--journal", kept, "--json"))
    (student,) = data["students"]
    (group,) = student["groups"]
    assert (group["label"], group["condition"], group["direction"]) == ("K", "habit", "flat")
    assert -17 < group["median_cents"] < -13
    assert [one["condition"] for one in student["notes"] if one["pitch"] == "F#5"] == ["habit"]
    assert {one["condition"] for one in student["fixed"]} == {"in order"}
    rows = list(csv.DictReader(io.StringIO(done("progress", etude, "--csv", "--journal", kept))))
    assert [row["condition"] for row in rows if row["kind"] == "group"] == ["habit"]
    assert {row["what"] for row in rows if row["kind"] == "note"} == set(PAIRS.split())


def test_exported_again_it_is_the_same_etude(etude: Path, kept: Path) -> None:
    other = etude.with_name("again.musicxml")
    other.write_text(score_text(first_id=500), encoding="utf-8")
    first = json.loads(done("progress", etude, "--journal", kept, "--json"))["students"]
    again = json.loads(done("progress", other, "--journal", kept, "--json"))["students"]
    assert again[0]["groups"] == first[0]["groups"]
    # But a report speaks in the ids of the file it was listened to with.
    result = run("keep", other, report(etude, 20), "-s", "Ana", "--journal", kept)
    assert result.exit_code == 1
    assert "another file of this etude" in result.stderr


def test_kept_once(etude: Path, kept: Path) -> None:
    text = done("keep", etude, report(etude, 0), "-s", "ana", "--journal", kept)
    assert "kept already" in text
    assert "14 takes" in text


def test_a_take_without_date(etude: Path, book: Path) -> None:
    path = report(etude, 0)
    take = json.loads(path.read_text("utf-8"))
    del take["take"]["date"]
    path.write_text(json.dumps(take), "utf-8")
    os.utime(path, (1_770_000_000, 1_770_000_000))
    result = run("keep", etude, path, "-s", "Ana", "--journal", book)
    assert "dated 2026-02-0" in result.stderr
    done("keep", etude, path, "-s", "Ana", "--journal", book, "--date", "2025-05-06")
    assert "2025-05-06" in done("journal", "list", "--journal", book)


def test_marks(etude: Path, kept: Path) -> None:
    marks = {
        "format": 1,
        "etude": hashlib.sha256(etude.read_bytes()).hexdigest(),
        "takes": [
            {
                "date": (FIRST + timedelta(days=day)).isoformat(),
                "marks": [{"note": "i0", "says": "flat"}, {"note": "i4", "says": "sharp"}],
            }
            for day in range(DAYS)
        ],
    }
    path = etude.with_name("marks.json")
    path.write_text(json.dumps(marks), "utf-8")
    done("keep", etude, "--ear", path, "-s", "Ana", "--journal", kept)
    data = json.loads(done("progress", etude, "--journal", kept, "--json"))
    ear = data["students"][0]["ear"]
    assert (ear["notes"], ear["marked"], ear["agree"], ear["against"]) == (84, 28, 14, 14)
    assert "14 marked the same way and 14 the other way" in done(
        "progress", etude, "--journal", kept
    )


def test_a_lesson_in_force_is_kept_with_the_take(etude: Path, book: Path) -> None:
    etude.with_suffix(".toml").write_text('title = "=week one"\n', "utf-8")
    done("keep", etude, report(etude, 0), "-s", "Ana", "--journal", book)
    lines = [json.loads(line) for line in done("journal", "export", "--journal", book).splitlines()]
    assert lines[-1]["text"] == 'title = "=week one"\n'


def test_out_and_in(etude: Path, kept: Path, tmp_path: Path) -> None:
    out, copy, table = tmp_path / "all.jsonl", tmp_path / "copy.sqlite", tmp_path / "all.csv"
    done("journal", "export", "-o", out, "--journal", kept)
    assert out.read_text("utf-8") == done("journal", "export", "--journal", kept)
    other, third = tmp_path / "other.sqlite", tmp_path / "third.sqlite"
    result = run("journal", "import", out, "--journal", other)
    assert "14 takes put in" in result.stderr
    assert done("progress", etude, "--journal", other) == done("progress", etude, "--journal", kept)
    done("journal", "backup", copy, "--journal", kept)
    assert done("progress", etude, "--journal", copy) == done("progress", etude, "--journal", kept)
    done("journal", "export", "-o", table, "--journal", kept)
    assert table.read_bytes().count(b"\r\n") == 1 + 14 * 6
    assert "14 takes put in" in run("journal", "import", table, "--journal", third).stderr
    assert done("progress", etude, "--journal", third) == done("progress", etude, "--journal", kept)
    rows = list(csv.DictReader(io.StringIO(table.read_text("utf-8"))))
    assert rows[0]["pitch"] == "F#4"
    assert -30 < float(rows[0]["deviation_cents"]) < 0


def test_no_formula_gets_into_a_spreadsheet(etude: Path, book: Path, tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    done("keep", etude, report(etude, 0), "-s", "=HYPERLINK(1)", "--journal", book)
    done("journal", "export", "-o", table, "--journal", book)
    for text in (table.read_text("utf-8"), done("progress", etude, "--csv", "--journal", book)):
        assert {row["student"] for row in csv.DictReader(io.StringIO(text))} == {"'=HYPERLINK(1)"}


def test_forget(etude: Path, kept: Path) -> None:
    asked = run("journal", "forget", "-s", "Ana", "--journal", kept)
    assert asked.exit_code == 1
    assert "--yes" in asked.stderr
    assert "Ana" in done("journal", "list", "--journal", kept)
    done("journal", "forget", "-s", "Ana", "--yes", "--journal", kept)
    assert "No takes." in done("journal", "list", "--journal", kept)
    result = run("progress", etude, "--journal", kept)
    assert result.exit_code == 1
    assert "no take of this etude" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (["progress", "ETUDE", "--journal", "NONE"], 1, "no journal"),
        (["progress", "ETUDE", "--journal", "ETUDE"], 1, "is no journal"),
        (["progress", "ETUDE", "--journal", "BOOK", "-s", "Bo"], 1, "takes by Ana"),
        (["progress", "ETUDE", "--journal", "BOOK", "--csv", "--json"], 2, "not several"),
        (["keep", "ETUDE", "-s", "Ana", "--journal", "BOOK"], 2, "TAKE.json"),
        (["keep", "ETUDE", "ETUDE", "-s", "Ana", "--journal", "BOOK"], 1, "no JSON"),
        (["keep", "ETUDE", "NONE", "-s", "Ana", "--journal", "BOOK"], 1, "cannot be read"),
        (["keep", "ETUDE", "TAKE", "-s", " ", "--journal", "BOOK"], 1, "no name of a student"),
        (["keep", "ETUDE", "TAKE", "-s", "A", "--date", "x", "--journal", "BOOK"], 1, "no date"),
        (["keep", "ETUDE", "TAKE", "--journal", "BOOK"], 2, "--student"),
        (["journal", "import", "--journal", "BOOK"], 2, "needs a FILE"),
        (["journal", "list", "TAKE", "--journal", "BOOK"], 2, "takes no FILE"),
        (["journal", "list", "-s", "Ana", "--journal", "BOOK"], 2, "takes no --student"),
        (["journal", "forget", "--journal", "BOOK"], 2, "whom"),
        (["journal", "import", "ETUDE", "--journal", "BOOK"], 1, "no JSON"),
        (["journal", "import", "NONE", "--journal", "BOOK"], 1, "cannot be read"),
        (["journal", "export", "-o", "BOOK", "--journal", "BOOK"], 1, "will not be overwritten"),
        (["journal", "backup", "BOOK", "--journal", "BOOK"], 1, "will not be overwritten"),
    ],
)
def test_what_does_not_fit_is_one_line(
    etude: Path, kept: Path, arguments: list[str], code: int, told: str
) -> None:
    names = {
        "ETUDE": etude,
        "BOOK": kept,
        "NONE": etude.with_name("none"),
        "TAKE": report(etude, 30),
    }
    result = run(*(names.get(one, one) for one in arguments))
    assert result.exit_code == code, result.stderr
    assert told in result.stderr
    assert "fault of the program" not in result.stderr
    assert "14" in done("journal", "list", "--journal", kept)


def test_next_week(etude: Path, kept: Path, tmp_path: Path) -> None:
    week = tmp_path / "week.toml"
    done("assign", etude, "-s", "Ana", "--journal", kept, "-o", week)
    text = week.read_text("utf-8")
    assert "# From the record of Ana: 14 takes." in text
    assert "# K: F# in octaves 4 and 5: flat again and again, 15 cents low over 14 days" in text
    assert 'stage = "neighbours"' in text
    # It is a lesson file like any other.
    assert "F#4" in done("outline", etude, "--lesson", week)
    page = done("assign", etude)
    assert "# Without a record" in page
    assert "# by the page: 50% of 6 notes altered" in page
    nobody = run("assign", etude, "-s", "Bo", "--journal", kept)
    assert nobody.exit_code == 0
    assert "no take of this etude by 'Bo'" in nobody.stderr
    assert nobody.stdout == page
    done("assign", etude, "-s", "Ana", "--journal", kept, "-o", tmp_path / "week.pdf")
    assert (tmp_path / "week.pdf").read_bytes().startswith(b"%PDF")
    assert run("assign", etude, "-o", tmp_path / "week.doc").exit_code == 1
    assert run("assign", etude, "--journal", kept).exit_code == 2


def test_a_draft_never_takes_the_place_of_the_lesson(etude: Path) -> None:
    lesson = etude.with_suffix(".toml")
    lesson.write_text("rule = 'second'\n", "utf-8")
    result = run("assign", etude, "-o", lesson)
    assert result.exit_code == 1
    assert "will not be overwritten" in result.stderr
    assert lesson.read_text("utf-8") == "rule = 'second'\n"


def test_pictures(etude: Path, kept: Path, tmp_path: Path) -> None:
    heat, trends = tmp_path / "heat.svg", tmp_path / "trends.svg"
    done("progress", etude, "-o", heat, "--journal", kept)
    assert 'class="low"' in heat.read_text("utf-8")
    done("progress", etude, "-f", "trends", "-o", trends, "--journal", kept)
    assert "2026-01-05" in trends.read_text("utf-8")
    done("keep", etude, report(etude, 0), "-s", "Bo", "--journal", kept)
    several = run("progress", etude, "-o", heat, "--journal", kept)
    assert several.exit_code == 1
    assert "--student: Ana, Bo" in several.stderr


def test_studio(kept: Path, tmp_path: Path) -> None:
    page = tmp_path / "studio.html"
    done("studio", "-o", page, "--journal", kept)
    assert page.read_text("utf-8") == done("studio", "--journal", kept)
    assert "F#: flat again and again, 15 cents low" in page.read_text("utf-8")
    wrong = run("studio", "-o", tmp_path / "studio.pdf", "--journal", kept)
    assert wrong.exit_code == 1
    assert ".html" in wrong.stderr
    own = kept.with_suffix(".html")
    kept.rename(own)
    refused = run("studio", "-o", own, "--journal", own)
    assert refused.exit_code == 1
    assert "will not be overwritten" in refused.stderr


def test_of_many_students_a_text_shows_those_who_played_last(etude: Path, book: Path) -> None:
    for place in range(43):
        when = f"2026-02-{place % 28 + 1:02}" if place < 40 else "2025-12-01"
        done("keep", etude, report(etude, place), "-s", f"S{place}", "--date", when,
             "--journal", book)  # fmt: skip
    text = done("progress", etude, "--journal", book)
    assert text.count(": 1 take, 2026-02") == 40
    assert "3 students more" in text
    assert "2025-12" not in text
    assert len(json.loads(done("progress", etude, "--journal", book, "--json"))["students"]) == 43
    refused = run("progress", etude, "--journal", book, "-o", book.with_name("x.svg"))
    assert refused.exit_code == 1
    assert "S0, S1" in refused.stderr
    assert "and 35 more" in refused.stderr


@pytest.mark.parametrize("form", ["heat", "trends"])
def test_pictures_as_png(etude: Path, kept: Path, form: str) -> None:
    target = kept.with_name("picture.png")
    done("progress", etude, "--journal", kept, "--format", form, "-o", target)
    assert target.read_bytes().startswith(b"\x89PNG\r\n")
