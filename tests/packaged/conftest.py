"""The packaged scores of the second reader, one test each, and the table of how they ended."""

from __future__ import annotations

import importlib.util
from collections import Counter
from pathlib import Path

import pytest

STEP = "step "
"""Name of a property of a test's report: a step that was tried, with how it ended."""

_ENDED: Counter[tuple[str, str]] = Counter()


def packaged_scores() -> list[Path]:
    """All MusicXML files that music21 packages: its corpus and its test suites."""
    spec = importlib.util.find_spec("music21")
    assert spec is not None
    assert spec.origin is not None
    root = Path(spec.origin).parent
    return sorted(
        path
        for folder in ("corpus", "musicxml")
        for path in (root / folder).rglob("*")
        if path.suffix in {".xml", ".musicxml", ".mxl"}
    )


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Give each test that asks for ``packaged_score`` all of them, or a spread."""
    if "packaged_score" not in metafunc.fixturenames:
        return
    marked = metafunc.definition.get_closest_marker("corpus")
    files = packaged_scores()[:: 1 if marked else 107]
    metafunc.parametrize("packaged_score", files, ids=lambda path: path.name)


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Count how each step of each test ended."""
    if report.when == "call":
        _ENDED.update(
            (name.removeprefix(STEP), str(ended))
            for name, ended in report.user_properties
            if name.startswith(STEP)
        )


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the table."""
    if not _ENDED:
        return
    terminalreporter.section("packaged scores, step by step")
    width = max(len(step) for step, _ in _ENDED)
    for (step, ended), count in sorted(_ENDED.items()):
        terminalreporter.write_line(f"{step:{width}}  {count:5}  {ended}")
