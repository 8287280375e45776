"""Published values, read from the tables beside the tests."""

from pathlib import Path

import pytest

TABLES = Path(__file__).resolve().parent.parent / "tables"


@pytest.fixture(scope="session")
def table():
    """Read a table of tests/tables as a list of rows, each a dict of strings by column."""

    def read(name: str, rows: int) -> list[dict[str, str]]:
        lines = (TABLES / name).read_text(encoding="utf-8").splitlines()
        columns, *data = [line.split("\t") for line in lines if not line.startswith("#")]
        # The count is asked for so that a table cut short fails instead of checking less.
        assert len(data) == rows
        return [dict(zip(columns, row, strict=True)) for row in data]

    return read
