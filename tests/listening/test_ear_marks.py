"""A listener's marks: read, refused, set beside the measurement."""

from __future__ import annotations

import hashlib
import json

import pytest

from skeleton.errors import OptionError
from skeleton.listening.ear_marks import EarTake, compare, read_ear_marks
from skeleton.listening.judge import JudgedNote

SOURCE = b"<score-partwise/>"
GOOD = {
    "format": 1,
    "etude": hashlib.sha256(SOURCE).hexdigest(),
    "takes": [{"date": "2024-05-01", "marks": [{"note": "n1", "says": "flat"}], "more": 1}],
}


def write(tmp_path, found):
    path = tmp_path / "marks.json"
    path.write_text(found if isinstance(found, str) else json.dumps(found), encoding="utf-8")
    return path


def test_a_good_file_is_read(tmp_path):
    (take,) = read_ear_marks(write(tmp_path, GOOD), SOURCE, ["n1"])
    assert (take.date, dict(take.marks)) == ("2024-05-01", {"n1": "flat"})


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"format": 2}, "format"),
        ({"etude": "0" * 64}, "another etude"),
        ({"takes": []}, "takes"),
        ({"takes": 3}, "takes"),
        ({"takes": [3]}, r"takes\[0\]"),
        ({"takes": [{"date": "May", "marks": []}]}, "date"),
        ({"takes": [{"date": "2024-05-01", "marks": {}}]}, "marks"),
        ({"takes": [{"date": "2024-05-01", "marks": [{"note": "n9", "says": "flat"}]}]}, "n9"),
        ({"takes": [{"date": "2024-05-01", "marks": [{"note": "n1", "says": "b"}]}]}, "says"),
        ({"takes": [{"date": "2024-05-01", "marks": ["n1"]}]}, "note"),
    ],
)
def test_a_bad_file_is_told_in_one_line(tmp_path, change, said):
    with pytest.raises(OptionError, match=said) as error:
        read_ear_marks(write(tmp_path, GOOD | change), SOURCE, ["n1"])
    assert "\n" not in str(error.value)


def test_no_json_and_no_file(tmp_path):
    with pytest.raises(OptionError, match="no JSON"):
        read_ear_marks(write(tmp_path, "{"), SOURCE, [])
    with pytest.raises(OptionError, match="no file of marks"):
        read_ear_marks(write(tmp_path, "[]"), SOURCE, [])
    with pytest.raises(OptionError, match="cannot be read"):
        read_ear_marks(tmp_path / "none.json", SOURCE, [])


def note(name, outcome):
    return JudgedNote(name, (), 0.0, 1.0, None, None, None, 0.0, outcome, None)


@pytest.mark.parametrize(
    ("ear", "measured", "agreement"),
    [
        ("flat", "flat", "agreed"),
        ("flat", "sharp", "wrong direction"),
        ("sharp", "in tune", "imagined"),
        (None, "flat", "missed"),
        (None, "in tune", "agreed"),
        ("flat", "cannot tell", "open"),
        ("unsure", "flat", "open"),
        ("flat", None, "open"),
    ],
)
def test_agreement(ear, measured, agreement):
    take = EarTake("2024-05-01", {} if ear is None else {"n1": ear})
    (found,) = compare(take, [note("n1", measured)])
    assert found.agreement == agreement


def test_a_mark_on_a_note_that_was_not_heard_stays_open():
    (found,) = compare(EarTake("2024-05-01", {"n7": "flat"}), [])
    assert (found.note, found.measured, found.agreement) == ("n7", None, "open")
