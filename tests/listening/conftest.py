"""Made performances and their scoring for all tests of listening."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest


def _helper(name: str):
    if name not in sys.modules:
        path = Path(__file__).with_name(f"{name}.py")
        spec = importlib.util.spec_from_file_location(name, path)
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


@pytest.fixture(scope="session")
def made():
    """Etudes and takes of them with exact truth (``performances.py``)."""
    return _helper("performances")


@pytest.fixture(scope="session")
def scoring():
    """What was heard held against what was played (``scoring.py``)."""
    return _helper("scoring")


@pytest.fixture(scope="session")
def spliced():
    """Takes put together from real violin notes (``spliced.py``)."""
    return _helper("spliced")
