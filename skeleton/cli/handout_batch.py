"""Handouts of many etudes: in several processes, each etude by itself.

A process keeps its engraver from etude to etude. One that fails does not stop the rest, also where
it takes its process with it: those that were being done then are done again, each in a process
of its own, and the rest go on in new ones. The largest are begun first, so that none is left alone
at the end.
"""

from __future__ import annotations

import atexit
import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import closing, contextmanager, suppress
from dataclasses import replace
from multiprocessing import get_context, parent_process
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from skeleton.cli.handout_job import Done, Job, Wanted
from skeleton.cli.handout_state import digest, fingerprint, is_current, read_state, write_state
from skeleton.cli.messages import say
from skeleton.cli.options import Request, lesson_file
from skeleton.cli.reading import decisions
from skeleton.errors import OutputError, SkeletonError
from skeleton.export.lists.words import counted, one_line
from skeleton.export.writing import write_set

if TYPE_CHECKING:
    from multiprocessing.queues import SimpleQueue

    from skeleton.export.engraving.engraver import Engraver

_AHEAD = 2
"""Jobs given to each process: the one it works on, and the next."""

_own: Engraver | None = None
"""The engraver of this process, where it is one that was started to work."""


def run(
    requests: Sequence[Request],
    folder: Path,
    wanted: Sequence[Wanted],
    *,
    jobs: int,
    force: bool,
) -> bool:
    """Make the handouts of several etudes in a folder; tell what happened on standard error.

    Args:
        requests: the etudes.
        folder: where the handouts go; made where it is missing.
        wanted: the handouts of each etude.
        jobs: how many to make at once.
        force: make unchanged ones anew too.

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
    todo, failed, unchanged = _planned(requests, folder, wanted, {} if force else state)
    written = 0
    late: list[tuple[Job, Done]] = []
    results = _results(todo, min(jobs, len(todo)), late)
    try:
        with _progress(len(todo), quiet=quiet) as step, closing(results):
            for job, done in results:
                step(job.request.etude.name)
                if done.error is not None:
                    failed.append((job.request.etude, done.error))
                    continue
                written += 1
                if not quiet:
                    _tell(job, done)
                _record(state, folder, [(job, done)])
    finally:
        _record(state, folder, late)
    order = {request.etude: place for place, request in enumerate(requests)}
    for _, fault in sorted(dict.fromkeys(failed), key=lambda one: order[one[0]]):
        say(f"skeleton: {fault}")
    if not quiet or failed:
        say(
            f"note: {folder}: {counted(written, 'handout')} written, {unchanged} unchanged, "
            f"{len(failed)} failed"
        )
    return not failed


def _planned(
    requests: Sequence[Request],
    folder: Path,
    wanted: Sequence[Wanted],
    state: dict[str, Any],
) -> tuple[list[Job], list[tuple[Path, str]], int]:
    """Return what is to be done, what cannot be, and how many handouts are as they should be."""
    todo: list[Job] = []
    failed: list[tuple[Path, str]] = []
    unchanged = 0
    taken: dict[str, Path] = {}
    for request in requests:
        other = taken.setdefault(request.etude.stem.casefold(), request.etude)
        if other is not request.etude:
            said = f"{request.etude}: its handout would overwrite that of {other}"
            failed += [(request.etude, said)] * len(wanted)
            continue
        for one in wanted:
            name = f"{request.etude.stem}.{one.form}"
            print_of = fingerprint(request, one.options())
            if is_current(folder, state.get(name), print_of):
                unchanged += 1
            else:
                todo.append(Job(replace(request, quiet=True), one, folder / name, print_of))
    return todo, failed, unchanged


def _record(state: dict[str, Any], folder: Path, ended: Sequence[tuple[Job, Done]]) -> None:
    """Write down what was made, so that it need not be made again."""
    made = [(job, done) for job, done in ended if done.error is None and job.fingerprint]
    for job, done in made:
        state[job.output.name] = {"from": job.fingerprint, "files": done.files}
    if made:
        write_state(folder, state)


def _tell(job: Job, done: Done) -> None:
    etude = job.request.etude
    if done.notices:
        count = counted(done.notices, "note")
        say(f"note: {etude}: {count} about it; make it alone to read them")
    if done.sounds:
        count = counted(done.sounds, "sound file")
        say(f"note: {job.output}: {count} beside it; hand them out together")


def _results(
    todo: Sequence[Job], jobs: int, late: list[tuple[Job, Done]]
) -> Generator[tuple[Job, Done]]:
    """Do jobs, and yield each with how it ended.

    Args:
        todo: the jobs.
        jobs: how many to do at once.
        late: gets what still came to its end after all was called off.
    """
    if not todo:
        return
    if jobs <= 1:
        from skeleton.export.engraving.engraver import Engraver  # noqa: PLC0415 - to work here

        with Engraver() as engraver:
            for job in todo:
                yield job, _work(job, engraver)
        return
    waiting = deque(sorted(todo, key=_size, reverse=True))
    while waiting:
        lost: list[Job] = []
        yield from _together(waiting, jobs, lost, late)
        for job in lost:
            yield job, _alone(job)


def _size(job: Job) -> tuple[bool, int]:
    """What takes longest is largest: a page with its sounds, then the longer score."""
    try:
        score_bytes = job.request.etude.stat().st_size
    except OSError:
        score_bytes = 0
    return job.wanted.form == "html" and job.wanted.sounds, score_bytes


def _together(
    waiting: deque[Job], jobs: int, lost: list[Job], late: list[tuple[Job, Done]]
) -> Iterator[tuple[Job, Done]]:
    """Work through what is waiting, until a process dies: what it may have died of is lost."""
    with _pool(jobs) as pool:
        doing: dict[Future[Done], Job] = {}
        try:
            while (waiting and not lost) or doing:
                while waiting and not lost and len(doing) < _AHEAD * jobs:
                    job = waiting.popleft()
                    try:
                        doing[pool.submit(_work, job)] = job
                    except BrokenExecutor:
                        lost.append(job)
                if not doing:
                    return
                for future in wait(doing, return_when=FIRST_COMPLETED).done:
                    job = doing.pop(future)
                    try:
                        done = future.result()
                    except BrokenExecutor:
                        lost.append(job)
                        continue
                    yield job, done
        except BaseException:  # an interrupt: what is being written is finished
            pool.shutdown(cancel_futures=True)
            ended = [future for future in doing if future.done() and not future.cancelled()]
            late += [(doing[one], one.result()) for one in ended if one.exception() is None]
            raise


def _alone(job: Job) -> Done:
    with _pool(1) as pool:
        try:
            return pool.submit(_work, job).result()
        except BrokenExecutor:
            return Done({}, error=f"{job.request.etude}: its process ended without an answer")


def _pool(jobs: int) -> ProcessPoolExecutor:
    # Fresh processes: a fork would take along the threads of the progress bar.
    context = get_context("spawn")
    cores: SimpleQueue[int | None] = context.SimpleQueue()
    for core in _cores(jobs):
        cores.put(core)
    return ProcessPoolExecutor(jobs, mp_context=context, initializer=_begin, initargs=(cores,))


def _cores(jobs: int) -> list[int | None]:
    """Return a core for each process where there is just one for each, or else none.

    A process and its engraver work by turns. Left to the system, the two of one pair are spread
    over the cores and stand in the way of other pairs (measured on two cores: a tenth slower).
    """
    if sys.platform == "linux":
        usable = sorted(os.sched_getaffinity(0))
        if len(usable) == jobs:
            return [*usable]
    return [None] * jobs


def _begin(cores: SimpleQueue[int | None]) -> None:
    """Get a process ready: its engraver starts while the first score is read."""
    global _own  # noqa: PLW0603 - one for each process, as long as it lives
    core = cores.get()
    if sys.platform == "linux" and core is not None:
        with suppress(OSError):  # taken away since
            os.sched_setaffinity(0, {core})
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides what an interrupt means
    threading.Thread(target=_end_with_parent, daemon=True).start()
    from skeleton.export.engraving.engraver import Engraver  # noqa: PLC0415 - not in the parent

    _own = Engraver()
    atexit.register(_own.close)


def _end_with_parent() -> None:
    """End this process when its parent is gone: nobody would give it work, or stop it."""
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _work(job: Job, engraver: Engraver | None = None) -> Done:
    """Make one handout and write it; whatever goes wrong comes back as a line."""
    from skeleton.cli.handout_make import make  # noqa: PLC0415 - not in a parent that only waits

    engraver = engraver or _own
    if engraver is None:
        raise ValueError("a process without an engraver cannot work")
    try:
        made = make(job.request, job.wanted, engraver, name=job.output.stem)
        files: dict[Path, bytes | str] = {job.output: made.data}
        files |= {job.output.with_name(name): data for name, data in made.beside.items()}
        request = job.request
        keep = [request.etude, request.lesson or lesson_file(request.etude)]
        write_set(files, keep=keep, within=job.output.parent)
    except SkeletonError as error:
        return Done({}, error=one_line(str(error)))
    except typer.BadParameter as error:
        return Done({}, error=one_line(f"{job.request.etude}: {error.message}"))
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # native code panics outside Exception
        said = one_line(f"{type(error).__name__}: {error}")
        return Done({}, error=f"{job.request.etude}: a fault of the program: {said}")
    hashes = {job.output.name: digest(made.data)}
    hashes |= {name: digest(data) for name, data in made.beside.items()}
    return Done(hashes, len(made.notices), made.sounds)


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
