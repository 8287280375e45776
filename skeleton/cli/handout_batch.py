"""Handouts of many etudes: in several processes, each etude by itself.

One that fails does not stop the rest, also where it takes its process with it: then those that
were waiting are done again, each in a process of its own.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import typer

from skeleton.analysis.analyse import analyse
from skeleton.cli.handout_state import digest, fingerprint, is_current, read_state, write_state
from skeleton.cli.messages import say
from skeleton.cli.options import Request, lesson_file
from skeleton.cli.reading import decisions, lesson_of
from skeleton.errors import OutputError, SkeletonError
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.make import handout
from skeleton.export.handout.pdf import Paper
from skeleton.export.lists.words import counted, one_line
from skeleton.export.views import musicxml
from skeleton.export.writing import encoded, write_set
from skeleton.score.model import Notice
from skeleton.score.reading import read


@dataclass(frozen=True, slots=True)
class Wanted:
    """How the handouts are to be made."""

    paper: Paper
    language: str
    with_score: bool


@dataclass(frozen=True, slots=True)
class Made:
    """A handout, the marked etude where it was asked for, and what was odd."""

    pdf: bytes
    score: bytes | None
    notices: tuple[Notice, ...]


@dataclass(frozen=True, slots=True)
class _Job:
    """An etude to do, and where its handout goes."""

    request: Request
    wanted: Wanted
    pdf: Path
    fingerprint: str | None


@dataclass(frozen=True, slots=True)
class _Done:
    """How a job ended: files by name with their hashes, or an error in one line."""

    files: dict[str, str]
    notices: int
    error: str | None = None


def make(request: Request, wanted: Wanted) -> Made:
    """Make the handout of one etude.

    Raises:
        SkeletonError: it cannot be made.
        typer.BadParameter: an option fits no score.
    """
    with Engraver() as engraver:  # gets ready while the score is read
        lesson = replace(lesson_of(request), **decisions(request))
        analysis = analyse(read(request.etude), lesson, part=request.part)
        pdf = handout(analysis, lesson, engraver, paper=wanted.paper, language=wanted.language)
    notices = (*analysis.notices, *pdf.notices)
    if not wanted.with_score:
        return Made(pdf.data, None, notices)
    score, said = musicxml(analysis, "annotated")
    return Made(pdf.data, encoded(score), (*notices, *said))


def run(
    requests: Sequence[Request],
    folder: Path,
    wanted: Wanted,
    *,
    jobs: int,
    force: bool,
) -> bool:
    """Make the handouts of several etudes in a folder; tell what happened on standard error.

    Returns:
        Whether all went well.

    Raises:
        OutputError: the folder cannot be made or written to.
        typer.BadParameter: an option fits no score.
    """
    decisions(requests[0])  # the same for all: said once
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be made: {error.strerror}") from error
    quiet = requests[0].quiet
    state = read_state(folder)
    failed: dict[Path, str] = {}
    todo: list[_Job] = []
    taken: dict[str, Path] = {}
    unchanged = 0
    for request in requests:
        name = f"{request.etude.stem}.pdf"
        other = taken.setdefault(name.casefold(), request.etude)
        if other is not request.etude:
            failed[request.etude] = f"{request.etude}: its handout would overwrite that of {other}"
            continue
        print_of = fingerprint(request, asdict(wanted))
        if not force and is_current(folder, state.get(name), print_of):
            unchanged += 1
        else:
            todo.append(_Job(replace(request, quiet=True), wanted, folder / name, print_of))
    written = 0
    with _progress(len(todo), quiet=quiet) as step:
        for job, done in _results(todo, min(jobs, len(todo))):
            step(job.request.etude.name)
            if done.error is not None:
                failed[job.request.etude] = done.error
                continue
            written += 1
            if job.fingerprint is not None:
                state[job.pdf.name] = {"from": job.fingerprint, "files": done.files}
            if done.notices and not quiet:
                count = counted(done.notices, "note")
                say(f"note: {job.request.etude}: {count} about it; make it alone to read them")
            if job.fingerprint is not None:
                write_state(folder, state)
    for request in requests:
        if request.etude in failed:
            say(f"skeleton: {failed[request.etude]}")
    if not quiet or failed:
        say(
            f"note: {folder}: {counted(written, 'handout')} written, {unchanged} unchanged, "
            f"{len(failed)} failed"
        )
    return not failed


def _results(todo: Sequence[_Job], jobs: int) -> Iterator[tuple[_Job, _Done]]:
    if jobs <= 1:
        for job in todo:
            yield job, _work(job)
        return
    lost: list[_Job] = []
    with _pool(jobs) as pool:
        waiting = {pool.submit(_work, job): job for job in todo}
        try:
            for future in as_completed(waiting):
                try:
                    yield waiting[future], future.result()
                except BrokenExecutor:
                    lost.append(waiting[future])
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    for job in lost:
        with _pool(1) as alone:
            try:
                done = alone.submit(_work, job).result()
            except BrokenExecutor:
                done = _Done({}, 0, f"{job.request.etude}: its process ended without an answer")
        yield job, done


def _pool(jobs: int) -> ProcessPoolExecutor:
    # Fresh processes: a fork would take along the threads of the progress bar.
    return ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=_ignore_interrupt)


def _ignore_interrupt() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides what an interrupt means


def _work(job: _Job) -> _Done:
    """Make one handout and write it; whatever goes wrong comes back as a line."""
    try:
        made = make(job.request, job.wanted)
        files: dict[Path, bytes | str] = {job.pdf: made.pdf}
        if made.score is not None:
            files[job.pdf.with_name(f"{job.pdf.stem}-annotated.musicxml")] = made.score
        request = job.request
        write_set(files, keep=[request.etude, request.lesson or lesson_file(request.etude)])
    except SkeletonError as error:
        return _Done({}, 0, one_line(str(error)))
    except typer.BadParameter as error:
        return _Done({}, 0, one_line(f"{job.request.etude}: {error.message}"))
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # native code panics outside Exception
        said = one_line(f"{type(error).__name__}: {error}")
        return _Done({}, 0, f"{job.request.etude}: a fault of the program: {said}")
    hashes = {path.name: digest(encoded(data)) for path, data in files.items()}
    return _Done(hashes, len(made.notices))


@contextmanager
def _progress(total: int, *, quiet: bool) -> Iterator[Callable[[str], Any]]:
    """Show a bar on a terminal, nothing elsewhere; gives a function to call after each etude."""
    if quiet or total < 2 or not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console  # noqa: PLC0415 - for terminals only
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn  # noqa: PLC0415

    columns = (BarColumn(), MofNCompleteColumn(), TextColumn("{task.description}", markup=False))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=total)
        yield lambda name: bar.update(task, advance=1, description=one_line(name))
