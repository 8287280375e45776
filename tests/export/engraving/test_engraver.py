"""The engraver: nothing it does, dying included, reaches the user as more than one line."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from skeleton.errors import EngravingError, OptionError
from skeleton.export.engraving import engraver as module
from skeleton.export.engraving.engraver import Engraver, Layout

PITCH = "<pitch><step>A</step><octave>4</octave></pitch>"
ATTRIBUTES = (
    "<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
    "<clef><sign>G</sign><line>2</line></clef></attributes>"
)


def note(name: str, inside: str = "", *, duration: int = 2, kind: str = "quarter") -> str:
    return (
        f'<note id="{name}">{PITCH}<duration>{duration}</duration><voice>1</voice>'
        f"<type>{kind}</type>{inside}</note>"
    )


def score(*measures: str, title: str = "Invented") -> str:
    bars = "".join(
        f'<measure number="{n}">{ATTRIBUTES if n == 1 else ""}{bar}</measure>'
        for n, bar in enumerate(measures, 1)
    )
    return (
        f'<score-partwise version="4.0"><work><work-title>{title}</work-title></work><part-list>'
        '<score-part id="P1"><part-name/></score-part></part-list>'
        f'<part id="P1">{bars}</part></score-partwise>'
    )


BAR = "".join(note(f"n{i}") for i in range(4))
EVERY_KIND = score(
    f'<note id="grace"><grace/>{PITCH}<voice>1</voice><type>eighth</type></note>'
    + note("plain")
    + '<note id="chord"><chord/><pitch><step>E</step><octave>5</octave></pitch>'
    "<duration>2</duration><voice>1</voice><type>quarter</type></note>"
    + '<note id="rest"><rest/><duration>2</duration><voice>1</voice><type>quarter</type></note>'
    + note("tied", '<notations><tied type="start"/></notations>')
    + note("hidden").replace("<note ", '<note print-object="no" '),
    note("tied-to", '<notations><tied type="stop"/></notations>', duration=8, kind="whole"),
    '<note id="bar-rest"><rest measure="yes"/><duration>8</duration><voice>1</voice></note>',
)
IDS = ("grace", "plain", "chord", "rest", "tied", "hidden", "tied-to", "bar-rest")


def python(code: str) -> tuple[str, ...]:
    """A stand-in for the worker: reads one request, then does what the code says."""
    return (sys.executable, "-I", "-S", "-c", f"import os, sys\nsys.stdin.readline()\n{code}")


def one_line(error: pytest.ExceptionInfo[Exception]) -> str:
    text = str(error.value)
    assert "\n" not in text
    return text


@pytest.fixture(scope="module")
def engraver():
    with Engraver() as running:
        yield running


def test_ids_of_all_kinds_of_notes_are_kept(engraver):
    # MusicXML 4.0: note has an id attribute of type xs:ID.
    engraved = engraver.engrave(EVERY_KIND, expect_ids=IDS)
    assert engraved.missing == ()
    assert engraved.warnings == ()
    for name in IDS:
        assert sum(page.count(f'<g id="{name}"') for page in engraved.pages) == 1


def test_same_bytes_from_two_processes_and_twice_from_one(engraver):
    first = engraver.engrave(EVERY_KIND)
    assert engraver.engrave(EVERY_KIND) == first
    with Engraver() as other:
        assert other.engrave(EVERY_KIND) == first


def test_one_picture_per_line_of_music(engraver):
    music = score(BAR, '<print new-system="yes"/>' + BAR.replace("n", "m").replace("mote", "note"))
    assert len(engraver.engrave(music, Layout(breaks="line")).pages) == 1
    assert len(engraver.engrave(music, Layout(breaks="line", systems_per_page=1)).pages) == 2


def test_a_page_has_the_size_asked_for(engraver):
    page = engraver.engrave(
        score(BAR), Layout(page_width_mm=210, page_height_mm=297, staff_mm=7.2)
    ).pages[0]
    # A staff of 7.2 mm is 720 units: 100 units a millimetre.
    assert 'viewBox="0 0 21000 29700"' in page


def test_boxes_only_where_asked_for(engraver):
    assert "bounding-box" in engraver.engrave(score(BAR)).pages[0]
    assert "bounding-box" not in engraver.engrave(score(BAR), Layout(boxes=False)).pages[0]


def test_text_of_the_score_cannot_become_markup(engraver):
    music = score(BAR, title="a &lt;script&gt; &amp; b")
    page = engraver.engrave(music, Layout(header=True)).pages[0]
    assert "<script" not in page
    assert "&lt;script&gt; &amp; b" in page


def test_warnings_of_the_native_code_are_collected_once_and_per_job(engraver):
    broken = note("x", '<notations><slur type="stop" number="1"/></notations>')
    bars = [broken.replace("x", f"x{i}") for i in range(2)]
    engraved = engraver.engrave(score(*bars), expect_ids=("x0", "x1"))
    assert engraved.warnings
    assert all("[" not in text[:1] and "\n" not in text for text in engraved.warnings)
    assert len(set(engraved.warnings)) == len(engraved.warnings)
    assert engraver.engrave(score(BAR)).warnings == ()


def test_a_warning_said_twice_is_given_once():
    command = python(
        "os.write(2, b'[Warning] odd\\n[Info] fine\\n[Warning] odd\\n[Error] worse\\n')\n"
        """os.write(1, b'{"page": 6}\\n<svg/>{"version": "0"}\\n')\nsys.stdin.read()"""
    )
    with Engraver(command=command) as talking:
        assert talking.engrave(score(BAR)).warnings == ("odd", "worse")


def test_notes_left_out_are_named(engraver):
    engraved = engraver.engrave(score(BAR), expect_ids=("n0", "gone", "n1"))
    assert engraved.missing == ("gone",)
    assert engraved.warnings == ("the engraver left out 1 of 3 notes: gone",)


def test_a_picture_without_any_of_the_notes_is_an_error(engraver):
    with pytest.raises(EngravingError, match="none of the 2 notes") as error:
        engraver.engrave(score(BAR), expect_ids=("a", "b"), name="etude.musicxml")
    assert one_line(error).startswith("etude.musicxml: ")


@pytest.mark.parametrize("text", ["", "no music", score(BAR)[:-30], "<a>&b;</a>", "<a>\ud800</a>"])
def test_damaged_text_is_refused_before_the_engraver_drops_half_of_it(engraver, text):
    with pytest.raises(EngravingError, match="well-formed") as error:
        engraver.engrave(text)
    one_line(error)


def test_xml_that_is_no_music_is_refused_and_the_worker_lives_on(engraver):
    with pytest.raises(EngravingError) as error:
        engraver.engrave("<recipe><egg/></recipe>")
    one_line(error)
    assert engraver.engrave(score(BAR)).pages


@pytest.mark.parametrize("start", ["\ufeff", '<?xml version="1.0" encoding="UTF-16"?>'])
def test_marks_of_another_encoding_do_no_harm_once_decoded(engraver, start):
    assert engraver.engrave(start + score(BAR), expect_ids=("n0",)).missing == ()


@pytest.mark.parametrize(
    ("layout", "named"),
    [
        (Layout(lyric_size=99.0), "lyricSize"),
        (Layout(page_width_mm=0.0), "pageWidth"),
        (Layout(breaks="never"), "breaks"),  # type: ignore[arg-type]
        (Layout(staff_mm=0.0), "staff"),
    ],
)
def test_a_layout_that_cannot_be_drawn_names_the_option(engraver, layout, named):
    with pytest.raises(OptionError, match=named) as error:
        engraver.engrave(score(BAR), layout)
    one_line(error)


def test_an_option_the_engraver_does_not_know_is_not_passed_over(engraver, monkeypatch):
    monkeypatch.setattr(Layout, "options", lambda _: {"pageWidht": 1000})
    with pytest.raises(OptionError, match="no option pageWidht"):
        engraver.engrave(score(BAR))


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_a_crash_is_one_line_that_says_how_it_died():
    command = python("os.write(2, b'[Error] the end\\n'); os.kill(os.getpid(), 11)")
    with Engraver(command=command) as dying:
        with pytest.raises(EngravingError, match="crashed") as error:
            dying.engrave(score(BAR), name="etude.musicxml")
        text = one_line(error)
        assert text.startswith("etude.musicxml: ")
        assert "SIGSEGV" in text
        assert "the end" in text


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_after_a_crash_the_next_job_gets_a_new_process():
    with Engraver() as running:
        running.engrave(score(BAR))
        assert running._process is not None
        running._process.send_signal(signal.SIGSEGV)
        with pytest.raises(EngravingError, match="SIGSEGV"):
            running.engrave(score(BAR))
        assert running.engrave(score(BAR), expect_ids=("n0",)).missing == ()


def test_a_hang_ends_at_the_limit_and_leaves_no_process():
    started_s = time.monotonic()
    with Engraver(limit_s=0.3, command=python("import time; time.sleep(60)")) as hanging:
        process = hanging._process
        with pytest.raises(EngravingError, match="no answer within") as error:
            hanging.engrave(score(BAR))
        one_line(error)
        assert process is not None
        assert process.poll() is not None
    assert time.monotonic() - started_s < 20


def test_a_worker_that_never_reads_does_not_block_the_sender():
    music = score(BAR, title="x" * 1_000_000)  # far more than a pipe holds
    command = (sys.executable, "-I", "-S", "-c", "import time; time.sleep(60)")
    with (
        Engraver(limit_s=0.3, command=command) as deaf,
        pytest.raises(EngravingError, match="no answer within"),
    ):
        deaf.engrave(music)


@pytest.mark.parametrize(
    "answer",
    [
        "hello\\n", '{"page": 99}\\n<svg', '{"page": "6"}\\n<svg/>', '{"page": -1}\\n<svg/>',
        '{"page": 6}\\n<svg/>hello\\n', "[1]\\n", "{}\\n", "\\xff\\n", "null\\n",
    ],
)  # fmt: skip
def test_garbage_is_not_taken_for_a_picture(answer):
    command = python(f"os.write(1, b'''{answer}''')")
    with (
        Engraver(command=command) as babbling,
        pytest.raises(EngravingError, match="makes no sense") as error,
    ):
        babbling.engrave(score(BAR))
    one_line(error)


def test_pages_are_handed_on_in_order_while_the_rest_is_drawn(engraver):
    seen = []
    layout = Layout(systems_per_page=1, page_width_mm=60.0)
    engraved = engraver.engrave(score(*[BAR] * 12), layout, on_page=seen.append)
    assert len(seen) > 1
    assert tuple(seen) == engraved.pages


def test_a_page_is_handed_on_before_the_next_is_there():
    # This worker draws its second page only when it is told that the first was seen.
    command = python(
        """os.write(1, b'{"page": 6}\\n<svg/>')\nsys.stdin.readline()\n"""
        """os.write(1, b'{"page": 5}\\n<two>{"version": "0"}\\n')"""
    )
    with Engraver(limit_s=20, command=command) as waiting:

        def seen(page):
            if page == "<svg/>":
                waiting._process.stdin.write(b"seen\n")
                waiting._process.stdin.flush()

        assert waiting.engrave(score(BAR), on_page=seen).pages == ("<svg/>", "<two>")


def test_after_an_error_with_a_page_the_next_job_gets_its_own_answer(engraver):
    def refuse(_):
        raise InterruptedError

    with pytest.raises(InterruptedError):
        engraver.engrave(score(*[BAR] * 12), Layout(systems_per_page=1), on_page=refuse)
    assert engraver.engrave(score(BAR), expect_ids=("n0",)).missing == ()


def test_no_page_is_an_error():
    command = python("""os.write(1, b'{"version": "0"}\\n')""")
    with Engraver(command=command) as empty, pytest.raises(EngravingError, match="no page"):
        empty.engrave(score(BAR))


def test_what_native_code_prints_is_no_answer():
    # The worker keeps its answers on a descriptor of its own.
    code = (
        "import os, skeleton.export.engraving.engraver_worker as w\n"
        "out = w._private_stdout()\nos.write(1, b'noise')\nout.write(b'answer')\nout.flush()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True, env=environment()
    )
    assert done.stdout.strip() == b"answer"
    assert b"noise" in done.stderr


def test_missing_engraver_is_said_when_it_is_needed(monkeypatch):
    monkeypatch.setattr(module, "find_spec", lambda _: None)
    with Engraver() as absent, pytest.raises(EngravingError, match="not installed") as error:
        absent.engrave(score(BAR))
    one_line(error)


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks processes up in /proc")
def test_the_worker_does_not_outlive_a_killed_parent():
    code = (
        "import os, signal\nfrom skeleton.export.engraving.engraver import Engraver\n"
        "print(Engraver()._process.pid, flush=True)\nos.kill(os.getpid(), signal.SIGKILL)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=False, env=environment()
    )
    assert done.returncode == -signal.SIGKILL
    worker = Path("/proc") / done.stdout.decode().strip() / "stat"
    for _ in range(100):
        try:
            if worker.read_text().rpartition(")")[2].split()[0] == "Z":
                return  # ended; its new parent has yet to collect it
        except OSError:
            return
        time.sleep(0.05)
    pytest.fail("the worker still runs")


def test_importing_and_starting_loads_nothing_heavy():
    code = (
        "import sys, skeleton, skeleton.export.engraving.engraver\n"
        "print([m for m in ('verovio', 'lxml', 'music21', 'numpy') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True, env=environment()
    )
    assert done.stdout.strip() == b"[]"


def environment() -> dict[str, str]:
    """The environment with this package on the path, wherever the tests run."""
    return {**os.environ, "PYTHONPATH": str(Path(module.__file__).parents[3])}
