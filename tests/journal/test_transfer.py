"""A journal taken out as lines and put into another is the same journal."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path
from random import Random
from types import ModuleType

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from skeleton.analysis.results import Analysis
from skeleton.errors import SkeletonError, TakeError
from skeleton.export.lists.journal_data import COLUMNS, csv_lines
from skeleton.journal.database import Journal
from skeleton.journal.records import Music
from skeleton.journal.studio import studio
from skeleton.journal.table_import import from_table
from skeleton.journal.take import EarMark, MarkedTake, MeasuredNote
from skeleton.journal.transfer import from_lines, to_lines

Etude = tuple[Analysis, Music]
HEAD = '{"format": 1, "kind": "journal"}'


def fill(path: Path, music: Music, students: ModuleType) -> list[str]:
    with Journal(path) as journal:
        for day in range(4):
            for who in ("Ana", "Bo"):
                journal.record(who, music, students.take(music, day, {}, Random(f"{day}{who}")))
        first = next(iter(music.keys))
        marks = [MarkedTake("2026-01-05", (EarMark(first, "flat"),)), MarkedTake("2026-01-06", ())]
        journal.add_marks("Ana", music, marks)
        journal.add_lesson("Ana", music, "2026-01-05", "title = 'first'\n")
        return list(to_lines(journal.everything()))


def test_there_and_back(tmp_path: Path, etude: Etude, students: ModuleType) -> None:
    music = etude[1]
    lines = fill(tmp_path / "a", music, students)
    assert [json.loads(line)["kind"] for line in lines] == [
        "journal", *["take"] * 8, *["listening"] * 2, "lesson"
    ]  # fmt: skip
    with Journal(tmp_path / "b") as journal:
        done = from_lines(journal, lines, "lines")
        assert (done.takes, done.known_takes, done.listenings, done.lessons) == (8, 0, 2, 1)
        assert list(to_lines(journal.everything())) == lines
        assert from_lines(journal, lines, "lines").known_takes == 8
        assert list(to_lines(journal.everything())) == lines
        with Journal(tmp_path / "a") as first:
            assert journal.days("Bo", music.content) == first.days("Bo", music.content)
            assert journal.heard("Ana", music.content) == first.heard("Ana", music.content)
        _, *mine = [json.loads(line) for line in to_lines(journal.everything("bo"))]
        assert [one["student"] for one in mine] == ["Bo"] * 4


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ("{", "no JSON"),
        ("[]", "no JSON object"),
        ('{"kind": "cake", "student": "Ana"}', "'cake' is not known"),
        ('{"kind": "take"}', "'student' is missing"),
        ('{"kind": "take", "student": "Ana", "notes": 1}', "no list of notes"),
        ('{"kind": "take", "student": "Ana", "notes": [{}]}', "has no key"),
        ('{"kind": "take", "student": "Ana", "notes": [], "date": "2026-01-01", "etude": "x"}',
         "no identity"),
        ('{"kind": "lesson", "student": "A\\nB", "etude": "%s", "date": "2026-01-01", "text": "x"}'
         % ("ab" * 32), "no name of a student"),
        ('{"kind": "lesson", "student": "Ana", "etude": "%s", "date": "today", "text": "x"}'
         % ("ab" * 32), "no date"),
    ],
)  # fmt: skip
def test_one_wrong_line_and_nothing_is_put_in(
    tmp_path: Path, etude: Etude, students: ModuleType, wrong: str, told: str
) -> None:
    lines = [*fill(tmp_path / "a", etude[1], students), "", wrong]
    with Journal(tmp_path / "b") as journal:
        with pytest.raises(TakeError, match="line 14") as caught:
            from_lines(journal, lines, "lines.jsonl")
        assert told in str(caught.value)
        assert journal.holdings() == ()


def test_other_files(tmp_path: Path) -> None:
    with Journal(tmp_path / "b") as journal:
        for lines in ([], ["", " "], ['{"kind": "take"}'], ['{"format": 2, "kind": "journal"}']):
            with pytest.raises(TakeError, match="export"):
                from_lines(journal, lines, "x")


def test_a_table_there_and_back(tmp_path: Path, etude: Etude, students: ModuleType) -> None:
    music = etude[1]
    twice = Music(music.content, "=1+1", {**music.keys, "again": "1:0:F#4:2"})
    note = MeasuredNote("again", -3.0, 1.0, "cannot tell")
    with Journal(tmp_path / "a") as journal:
        for day in range(4):
            for who in ("Ana", "-Bo"):
                made = students.take(music, day, {}, Random(f"{day}{who}"))
                journal.record(who, twice, replace(made, notes=(*made.notes, note)))
        table = list(csv_lines(journal.everything()))
        everything = list(journal.everything())
    assert any("'=1+1" in line for line in table)
    with Journal(tmp_path / "b") as journal:
        assert from_table(journal, table, "t.csv").takes == 8
        assert list(journal.everything()) == everything
        assert from_table(journal, table, "t.csv").known_takes == 8


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("deviation_cents", "deviation", "no column 'deviation_cents'"),
        (",-5.5,", ",low,", "line 3: deviation_cents 'low' is no number"),
        (",-5.5,", ",nan,", "line 3: nan cannot be"),
        ("in tune", "fine", "'fine' is no verdict"),
        ("F#4", "", "fill in part, onset and pitch"),
        ("2026-01-02", "2.1.2026", "no date"),
        ("ab" * 32, "ab", "no identity"),
        ("Ana", "", "no name of a student"),
        ("x.wav", '"x.wav', "no CSV"),
    ],
)
def test_a_table_that_cannot_be(tmp_path: Path, old: str, new: str, told: str) -> None:
    head = ("Ana", "", "ab" * 32, "2026-01-02", "x.wav", "1", "0", "F#4", "1")
    rows = [COLUMNS, (*head, "1.5", "1", "in tune"), (*head, "-5.5", "1", "flat")]
    text = "\r\n".join(",".join(row) for row in rows)
    assert old in text
    with Journal(tmp_path / "b") as journal:
        with pytest.raises(SkeletonError) as caught:
            from_table(journal, io.StringIO(text.replace(old, new), newline=""), "t.csv")
        assert told in str(caught.value).replace("'nan'", "nan")
        assert journal.holdings() == ()
        assert from_table(journal, io.StringIO(text, newline=""), "t.csv").takes == 1


LINE = st.fixed_dictionaries(
    {},
    optional={
        "kind": st.sampled_from(["take", "listening", "lesson", "journal", 1]),
        "student": st.sampled_from(["Ana", "", "\ud800", "a" * 300, 3]),
        "etude": st.sampled_from(["ab" * 32, "AB" * 32, "", None]),
        "title": st.sampled_from(["t", "\ud800", None, 4, []]),
        "date": st.sampled_from(["2026-01-02", "2026-01-02T10:00:00+01:00", "0000-00-00", 5]),
        "path": st.sampled_from(["a.wav", "\udcff.wav", None, {}]),
        "text": st.sampled_from(["x", "\udcff", "", 1]),
        "notes": st.lists(
            st.fixed_dictionaries(
                {
                    "key": st.sampled_from(
                        ["1:0:F#4", "1:1/3:Bb-1:2", "x", "1:0:F#4:", "\ud800", 1]
                    ),
                    "deviation_cents": st.sampled_from([-1.5, 0, 1e9, "1", None, True]),
                    "uncertainty_cents": st.sampled_from([1.5, None]),
                    "verdict": st.sampled_from(["in tune", "flat", "low", None, []]),
                },
                optional={"lean_cents": st.sampled_from([90, None, "x"])},
            ),
            max_size=3,
        ),
        "marks": st.lists(
            st.fixed_dictionaries(
                {
                    "key": st.sampled_from(["1:0:F#4", "x", None]),
                    "says": st.sampled_from(["flat", "no", None, []]),
                }
            ),
            max_size=3,
        ),
    },
)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lines=st.lists(LINE, min_size=1, max_size=4))
def test_whatever_a_line_holds(tmp_path: Path, lines: list[dict]) -> None:
    texts = [HEAD, *(json.dumps(line) for line in lines)]
    with Journal(tmp_path / "b") as journal:
        before = list(journal.everything())
        try:
            from_lines(journal, texts, "x")
        except SkeletonError:
            assert list(journal.everything()) == before
            return
        # What was taken in can be taken out, in every form.
        again = list(to_lines(journal.everything()))
        assert from_lines(journal, again, "again").takes == 0
        assert list(csv_lines(journal.everything()))
        studio(journal)
