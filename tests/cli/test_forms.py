"""Which form a list takes: what was asked for, else what the file's ending says."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path

import pytest
import typer

from skeleton.cli.forms import form_of
from skeleton.errors import OptionError


class Form(StrEnum):
    TEXT = "text"
    CSV = "csv"
    JSON = "json"


ENDINGS = {".txt": Form.TEXT, ".csv": Form.CSV, ".json": Form.JSON}


@pytest.mark.parametrize(
    ("asked", "output", "csv", "json", "form"),
    [
        (None, None, False, False, Form.TEXT),
        (None, "-", False, False, Form.TEXT),
        (None, "list", False, False, Form.TEXT),
        (None, "list.CSV", False, False, Form.CSV),
        (None, "list.csv", False, True, Form.JSON),
        (Form.CSV, "list.pdf", True, False, Form.CSV),
    ],
)
def test_form(asked: Form | None, output: str | None, csv: bool, json: bool, form: Form) -> None:
    path = None if output is None else Path(output)
    assert form_of(asked, ENDINGS, path, csv=csv, json=json) is form


def test_two_forms() -> None:
    with pytest.raises(typer.BadParameter, match="not several"):
        form_of(Form.TEXT, ENDINGS, None, csv=True, json=False)


def test_an_ending_that_stands_for_none() -> None:
    with pytest.raises(OptionError, match=r"list\.pdf: no form .* use \.txt, \.csv, \.json"):
        form_of(None, ENDINGS, Path("list.pdf"), csv=False, json=False)
