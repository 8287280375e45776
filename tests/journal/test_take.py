"""Reports of takes and marks by ear as they come in: read, or refused in one line."""

from __future__ import annotations

import contextlib
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.errors import SkeletonError, TakeError
from skeleton.journal.take import (
    MeasuredNote,
    checked_date,
    day_of,
    take_from_json,
)

NOTE = {
    "id": "n1",
    "cents": -10.1,
    "off_cents": -14.5,
    "u_cents": 3,
    "verdict": "flat",
    "lean_cents": 104.7,
    "heard": [{"confidence": 0.4}, {"confidence": 0.9}],
}


def report(*notes: object, **more: object) -> str:
    about = {"date": "2026-03-14T17:05", "name": "monday.wav"}
    etude = {"sha256": "ab" * 32}
    return json.dumps({"format": 1, "take": about, "etude": etude, "notes": notes, **more})


def test_a_report() -> None:
    take = take_from_json(report({**NOTE, "new": 1}, another="key"), "take.json")
    assert take.date == "2026-03-14T17:05:00"
    assert take.path == "monday.wav"
    assert take.source_sha256 == "ab" * 32
    assert take.notes == (MeasuredNote("n1", -14.5, 3.0, "flat", 104.7, 0.9),)


def test_what_was_not_judged_is_left_out() -> None:
    silent = {**NOTE, "id": "n2", "off_cents": None, "verdict": None}
    take = take_from_json(report(silent, NOTE, {**NOTE, "heard": []}), "take.json")
    assert [(one.note, one.confidence) for one in take.notes] == [("n1", 0.9), ("n1", None)]


def test_a_given_date_goes_first() -> None:
    assert take_from_json(report(NOTE), "t", when="2026-01-02").date == "2026-01-02"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no JSON"),
        ("[" * 100000, "no JSON"),
        ("[]", "no JSON object"),
        ('{"format": 2}', "format '2'"),
        ('{"format": 1, "notes": []}', "--date"),
        ('{"format": 1, "take": {"date": "soon"}, "notes": [{}]}', "nothing to keep"),
        ('{"format": 1, "take": {"date": "2026-01-02"}}', "no list of notes"),
        (report(), "nothing to keep"),
        (report(3), "note 1: is no JSON object"),
        (report({**NOTE, "verdict": "low"}), "'low' is no verdict"),
        (report({**NOTE, "off_cents": "low"}), "'low' cannot be"),
        (report({**NOTE, "off_cents": 9999}), "cannot be"),
        (report({**NOTE, "off_cents": True}), "cannot be"),
        (report({**NOTE, "u_cents": float("nan")}), "cannot be"),
        (report({**NOTE, "id": 7}), "no note's id"),
    ],
)
def test_no_report(text: str, told: str) -> None:
    with pytest.raises(TakeError) as caught:
        take_from_json(text, "take.json")
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


def test_dates() -> None:
    assert checked_date("2026-03-14", "x") == "2026-03-14"
    assert day_of("2026-03-15T00:10:00") - day_of("2026-03-14") == 1
    for wrong in ("14.3.2026", "2026-02-30", "", None, 20260314):
        with pytest.raises(TakeError, match="no date"):
            checked_date(wrong, "x")


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=5) | st.integers(),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["format", "take", "takes", "date", "notes", "marks", "id", "verdict"]),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@given(JSON)
def test_nothing_else_than_its_own_errors(data: object) -> None:
    text = json.dumps({"format": 1, **data} if isinstance(data, dict) else data)
    with contextlib.suppress(SkeletonError):
        take_from_json(text, "x.json")
