"""The packaged scores of the second reader: the table of how the steps with them ended."""

from __future__ import annotations

from collections import Counter

import pytest

STEP = "step "
"""Name of a property of a test's report: a step that was tried, with how it ended."""

_ENDED: Counter[tuple[str, str]] = Counter()


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
