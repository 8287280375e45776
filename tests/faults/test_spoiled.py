"""Spoiled files, the same ones each time: no traceback, no hang, nothing half done.

What is run and what must hold is in ``targets.py``, how files are spoiled in ``mutations.py``.
``tools/fuzz.py`` searches on from here, for as long as one likes.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.analysis.lesson import parse_lesson
from skeleton.errors import LessonError, ScoreError, TakeError
from skeleton.journal.take import take_from_json
from skeleton.score.reading import read_bytes

ROUNDS = {
    "score": 60, "archive": 60, "foreign": 60, "lesson": 80, "marks": 150, "lines": 200,
    "table": 200, "sound": 150,
}  # fmt: skip
"""By target: about a second each."""

LONG = 12
"""Times as many rounds for the long test."""

EXAMPLES = settings(derandomize=True, database=None, deadline=None, max_examples=100)


def run(faults, name: str, folder: Path, numbers: range) -> None:
    target = faults.TARGETS[name]
    seeds = target.seeds()
    for number in numbers:
        data = faults.ways.spoiled(seeds, target.way, number)
        try:
            target.run(data, folder)
        except Exception as error:
            error.add_note(f"spoiled file number {number} of target {name}")
            raise


@pytest.mark.parametrize("name", ROUNDS)
def test_a_good_file_is_taken(faults, tmp_path: Path, name: str) -> None:
    # Else the others would only see files being turned down.
    target = faults.TARGETS[name]
    turned_down = []
    told, faults.told = faults.told, turned_down.append
    try:
        for seed in target.seeds():
            target.run(seed, tmp_path)
    finally:
        faults.told = told
    # The file of marks is no report of a take, and the report no file of marks.
    assert len(turned_down) == (2 if name == "marks" else 0), turned_down


@pytest.mark.parametrize("name", ROUNDS)
def test_spoiled_files(faults, bounded, tmp_path: Path, name: str) -> None:
    with bounded():
        run(faults, name, tmp_path, range(ROUNDS[name]))


@pytest.mark.long
@pytest.mark.parametrize("name", ROUNDS)
def test_many_spoiled_files(faults, bounded, tmp_path: Path, name: str) -> None:
    for start in range(1, LONG + 1):
        with bounded():
            run(faults, name, tmp_path, range(start * 10_000, start * 10_000 + ROUNDS[name]))


def test_the_same_number_spoils_the_same_way(faults) -> None:
    for name in ROUNDS:
        target = faults.TARGETS[name]
        seeds = target.seeds()
        once = [faults.ways.spoiled(seeds, target.way, number) for number in range(20)]
        assert once == [faults.ways.spoiled(seeds, target.way, number) for number in range(20)]
        assert len(set(once) - set(seeds)) > 10


@EXAMPLES
@given(st.binary(max_size=400), st.sampled_from(["a.musicxml", "a.mxl", "a.abc", "a.krn", "a.md"]))
def test_any_bytes_are_no_score(data: bytes, name: str) -> None:
    with pytest.raises(ScoreError):
        read_bytes(data, name)


@EXAMPLES
@given(st.text(max_size=200))
def test_any_text_is_no_lesson_or_one(text: str) -> None:
    told = ""
    try:
        parse_lesson(text)
    except LessonError as error:
        told = str(error)
    assert "\n" not in told


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inside: st.lists(inside, max_size=4) | st.dictionaries(
        st.sampled_from(["format", "notes", "take", "date", "id", "verdict", "off_cents", "heard"]),
        inside, max_size=4,
    ),
    max_leaves=12,
)  # fmt: skip


@EXAMPLES
@given(st.fixed_dictionaries({"format": st.just(1), "notes": JSON, "take": JSON, "etude": JSON}))
def test_any_json_is_no_take(data: dict) -> None:
    import json

    with pytest.raises(TakeError):
        take_from_json(json.dumps(data), "take.json", when="2026-03-14")
