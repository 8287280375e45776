"""What the command line costs beside the engraver and beside a bare program."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from time import perf_counter
from typing import Final

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.export.engraving.engraver import Layout
from skeleton.export.engraving.picture import PAGE_WIDTH_MM
from skeleton.export.views import musicxml, pictures
from skeleton.score.reading import read_bytes

resource = pytest.importorskip("resource", reason="processor time as Unix counts it")

NOTES: Final = (400, 2_000)
"""Twenty-five measures of sixteenths, a long etude; and 125, longer than any."""

RATIO: Final = 1.3
START_S: Final = 0.4
"""For the interpreter and the imports of the command: it starts two processes."""

ENGRAVER_ALONE: Final = """
import json, sys
import verovio
toolkit = verovio.toolkit()
toolkit.setOptions(json.loads(sys.argv[2]))
with open(sys.argv[1], encoding="utf-8") as file:
    assert toolkit.loadData(file.read())
pages = [toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1)]
with open(sys.argv[3], "w", encoding="utf-8") as file:
    file.write("".join(pages))
"""

BARE_PROGRAM: Final = """
import typer
app = typer.Typer()
@app.command()
def one(path: str): ...
@app.command()
def two(path: str): ...
app()
"""


def processor_s(*command: str, environment: dict[str, str]) -> float:
    """Seconds of processor time that a process and its children take."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, capture_output=True, env=environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def run_s(*command: str) -> float:
    """Seconds that a process takes, interpreter included."""
    started = perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return perf_counter() - started


@pytest.fixture(scope="module")
def installed(tmp_path_factory) -> dict[str, str]:
    """An environment in which modules are compiled once, as those of an installed program are."""
    compiled = str(tmp_path_factory.mktemp("compiled"))
    return {**os.environ, "PYTHONDONTWRITEBYTECODE": "", "PYTHONPYCACHEPREFIX": compiled}


def test_reduce_a_short_etude(benchmark, etude):
    analysis = analyse(read_bytes(etude(200), "etude.musicxml"))
    drawn = benchmark.pedantic(pictures, args=(analysis, "bare"), rounds=1)
    assert drawn.pages[0].count('class="note"') > 50


@pytest.mark.parametrize("notes", NOTES)
def test_reduce_end_to_end_costs_little_more_than_the_engraver(
    against, etude, installed, tmp_path, notes
):
    """The whole command against Verovio alone on its own result: 1.3 times that, and 0.4 s.

    Processor time, since 0.4 s by the clock mean nothing on a machine that others use. The
    command's two processes run side by side, so the clock shows less than their sum. Each is the
    best of several runs in turn, after one that compiles the modules.
    """
    path = tmp_path / "etude.musicxml"
    path.write_bytes(etude(notes))
    data, _ = musicxml(analyse(read_bytes(path.read_bytes(), "etude.musicxml")), "bare")
    reduced = path.with_name("reduced.musicxml")
    reduced.write_bytes(data)
    layout = Layout(page_width_mm=PAGE_WIDTH_MM, margin_mm=3.0, systems_per_page=1)
    base = (
        sys.executable, "-c", ENGRAVER_ALONE, str(reduced), json.dumps(layout.options()),
        str(path.with_name("base.svg")),
    )  # fmt: skip
    work = (
        sys.executable, "-m", "skeleton", "reduce", str(path), "-q", "--single",
        "-o", str(path.with_name("out.svg")),
    )  # fmt: skip
    processor_s(*base, environment=installed)
    processor_s(*work, environment=installed)
    base_s = work_s = float("inf")
    for _ in range(12):
        base_s = min(base_s, processor_s(*base, environment=installed))
        work_s = min(work_s, processor_s(*work, environment=installed))
    against.row(
        f"skeleton reduce, {notes} notes, {work_s:.2f} s",
        f"{RATIO} x Verovio alone ({base_s:.2f} s) + {START_S} s",
        work_s / (RATIO * base_s + START_S),
        at_most=1,
    )


def test_help_costs_little_more_than_a_bare_program(against):
    against(
        "skeleton --help",
        lambda: run_s(sys.executable, "-m", "skeleton", "--help"),
        "a bare typer program's --help",
        lambda: run_s(sys.executable, "-c", BARE_PROGRAM, "--help"),
        at_most=1.5,
        rounds=9,
    )
