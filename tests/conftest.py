"""For all tests: published values, and that the long ones run only when asked for."""

from __future__ import annotations

from pathlib import Path

import pytest

TABLES = Path(__file__).resolve().parent / "tables"


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


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what takes minutes, unless the command line speaks of it: ``-m corpus``."""
    for mark in ("corpus", "long"):
        if mark in config.option.markexpr:
            continue
        skip = pytest.mark.skip(reason=f"takes minutes; select with -m {mark}")
        for item in items:
            if item.get_closest_marker(mark) is not None:
                item.add_marker(skip)
