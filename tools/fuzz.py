"""Search for input that the program does not stand: coverage-guided, by hand, for minutes or hours.

Usage::

    pip install '.[test,fuzz]'
    python tools/fuzz.py score --seconds 600 --out /tmp/finds
    python tools/fuzz.py score FILE...        # run files again, with their traces

The targets, their seeds and the ways to spoil a seed are those of ``tests/faults``; what is new
here is that Atheris (libFuzzer) keeps each spoiled file that reaches new code and spoils it
further. A run goes on after a find: the first file of each kind lies in the folder then, named by
the error and its place. A run that hangs for more than ten seconds or takes more than a gigabyte
ends, and the file is kept as well. Each find that is mended becomes a test in ``tests/faults``.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import multiprocessing
import os
import re
import sys
import tempfile
import time
import traceback
from pathlib import Path
from random import Random
from types import ModuleType

ROOT = Path(__file__).resolve().parent.parent
HANG_S = 10
MOST_MB = 1024


def load() -> ModuleType:
    """Return the module of targets."""
    name = "faults_targets"
    sys.path.insert(0, str(ROOT))
    spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / "faults" / "targets.py")
    if spec is None or spec.loader is None:
        raise SystemExit("tests/faults/targets.py is missing: run in a checkout")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def say(text: str) -> None:
    """Print a line."""
    sys.stdout.write(f"{text}\n")


def place_of(error: BaseException) -> str:
    """Return error and place as a name: the innermost line of this project."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if str(ROOT) in frame.filename] or frames
    where = Path(own[-1].filename)
    return re.sub(r"\W+", "-", f"{type(error).__name__}-{where.stem}-{own[-1].lineno}")


def search(name: str, seconds: int, out: Path, corpus: Path) -> None:
    """Spoil and run until the time is over; runs in a process of its own, which libFuzzer ends."""
    import atheris  # noqa: PLC0415 - an extra

    with atheris.instrument_imports(include=["skeleton"]):
        target = load().TARGETS[name]
    if os.name == "posix":
        import resource  # noqa: PLC0415 - not everywhere

        most = (4 * MOST_MB) << 20  # address space is more than memory
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
    for place, seed in enumerate(target.seeds()):
        (corpus / f"seed-{place}").write_bytes(seed)
    folder = Path(tempfile.mkdtemp(dir=out))
    log = out / f"{name}.json"
    found: dict[str, int] = {}
    runs = [0]
    started = time.monotonic()

    def one(data: bytes) -> None:
        runs[0] += 1
        try:
            target.run(data, folder)
        except Exception as error:  # any is a find
            place = place_of(error)
            if place not in found:
                (out / f"{name}-{place}").write_bytes(data)
            found[place] = found.get(place, 0) + 1
        if runs[0] % 200 == 0 or time.monotonic() - started > seconds - 1:
            log.write_text(json.dumps({"runs": runs[0], "finds": found}))

    def spoil(data: bytes, most: int, seed: int) -> bytes:
        # The engine's own mutations know which bytes are compared with; ours know the formats.
        random = Random(seed)  # noqa: S311 - to spoil files
        changed = atheris.Mutate(data, most) if random.random() < 0.4 else target.way(data, random)
        return changed[:most]

    atheris.Setup(
        [
            sys.argv[0], f"-max_total_time={seconds}", f"-timeout={HANG_S}",
            f"-rss_limit_mb={MOST_MB}", "-max_len=300000", "-len_control=0", "-verbosity=1",
            f"-artifact_prefix={out}/{name}-", str(corpus),
        ],
        one,
        custom_mutator=spoil,
    )  # fmt: skip
    atheris.Fuzz()


def main() -> None:
    """Search, or run files again."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("target")
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--seconds", type=int, default=600)
    parser.add_argument("--out", type=Path, default=Path("finds"))
    asked = parser.parse_args()
    if asked.files:
        target = load().TARGETS[asked.target]
        for file in asked.files:
            with tempfile.TemporaryDirectory() as folder:
                started = time.monotonic()
                try:
                    target.run(file.read_bytes(), Path(folder))
                except Exception:
                    traceback.print_exc()
                say(f"{file}: {time.monotonic() - started:.2f} s")
        return
    asked.out.mkdir(parents=True, exist_ok=True)
    corpus = asked.out / f"corpus-{asked.target}"
    corpus.mkdir(exist_ok=True)
    end = time.monotonic() + asked.seconds
    begun = 0
    while (left := int(end - time.monotonic())) > 1:  # a hang or a crash ends one process, not all
        begun += 1
        worker = multiprocessing.get_context("spawn").Process(
            target=search, args=(asked.target, left, asked.out, corpus)
        )
        worker.start()
        worker.join(left + 60)
        if worker.is_alive():
            worker.kill()
        log = asked.out / f"{asked.target}.json"
        if log.is_file():
            log.rename(asked.out / f"{asked.target}-{begun}.json")
    runs = 0
    finds: dict[str, int] = {}
    for one in sorted(asked.out.glob(f"{asked.target}-*.json")):
        said = json.loads(one.read_text())
        runs += said["runs"]
        finds |= said["finds"]
    say(f"{asked.target}: {runs} runs in {begun} processes; finds: {finds or 'none'}")


if __name__ == "__main__":
    main()
