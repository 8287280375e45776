"""What holds for all tests: the long ones run only when they are asked for."""

from __future__ import annotations

import pytest


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what takes minutes, unless the command line speaks of it: ``-m corpus``."""
    if "corpus" not in config.option.markexpr:
        skip = pytest.mark.skip(reason="takes minutes; select with -m corpus")
        for item in items:
            if item.get_closest_marker("corpus") is not None:
                item.add_marker(skip)
