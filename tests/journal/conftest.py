"""For the tests of the journal: an etude, and students with known habits."""

from __future__ import annotations

from types import ModuleType

import pytest
from folders import helper

from skeleton.analysis.results import Analysis
from skeleton.journal.records import Music


@pytest.fixture(scope="session")
def students() -> ModuleType:
    """Students with known habits (``students.py``)."""
    return helper("journal/students")


@pytest.fixture(scope="session")
def etude(students: ModuleType) -> tuple[Analysis, Music]:
    """An etude of slurred pairs, as analysed and as the journal knows it."""
    return students.analysed()
