"""Helpers that lie in the folder of other tests: test folders are no packages."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType


def helper(path: str) -> ModuleType:
    """Return the module ``tests/PATH.py``, loaded once under its file's own name."""
    where = Path(__file__).parents[1] / f"{path}.py"
    name = where.stem
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, where)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]
