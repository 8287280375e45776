"""For the tests of the journal: an etude, and students with known habits."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from skeleton.analysis.results import Analysis
from skeleton.journal.records import Music


@pytest.fixture(scope="session")
def students() -> ModuleType:
    """Students with known habits (``students.py``)."""
    path = Path(__file__).with_name("students.py")
    spec = importlib.util.spec_from_file_location("students_of_the_journal", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def etude(students: ModuleType) -> tuple[Analysis, Music]:
    """An etude of slurred pairs, as analysed and as the journal knows it."""
    return students.analysed()
