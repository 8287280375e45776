"""What is done with a spoiled file, and what must hold whatever is in it.

A target takes the bytes of a file and a folder to work in. It ends without a word, or raises what
the program should never let out: any exception but a :class:`~skeleton.errors.SkeletonError`, or
an ``AssertionError`` where a result is not what it must be. The tests here and the fuzzer
(``tools/fuzz.py``) run the same targets on the same seeds.
"""

from __future__ import annotations

import functools
import hashlib
import importlib.util
import io
import json
import sys
import zipfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random
from types import ModuleType

import numpy as np
import soundfile
from lxml import etree

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, read_lesson
from skeleton.analysis.results import Analysis
from skeleton.audio.decode import blocks, open_recording
from skeleton.errors import OutputError, SkeletonError
from skeleton.export.handout.content import handout_content
from skeleton.export.handout.words import words
from skeleton.export.lists.checklist import checklist
from skeleton.export.lists.checklist_data import checklist_csv, checklist_json
from skeleton.export.lists.checklist_text import checklist_text
from skeleton.export.lists.document import plain_text
from skeleton.export.lists.journal_data import csv_lines
from skeleton.export.lists.outline import outline_json
from skeleton.export.lists.outline_text import outline_document
from skeleton.export.lists.targets import targets_csv, targets_json
from skeleton.export.views import musicxml
from skeleton.intonation.targets import targets
from skeleton.journal.content import content_id, note_keys
from skeleton.journal.database import Journal
from skeleton.journal.records import Music
from skeleton.journal.table_import import from_table
from skeleton.journal.take import (
    EarMark,
    MarkedTake,
    MeasuredNote,
    MeasuredTake,
    checked_date,
    take_from_json,
)
from skeleton.journal.transfer import from_lines, to_lines
from skeleton.listening.ear_marks import read_ear_marks
from skeleton.score.reading import read_bytes

SCORES = Path(__file__).resolve().parents[2] / "scores"
LONGEST_MESSAGE = 1000


def _beside(name: str) -> ModuleType:
    full = f"faults_{name}"
    if full not in sys.modules:
        spec = importlib.util.spec_from_file_location(full, Path(__file__).with_name(f"{name}.py"))
        module = importlib.util.module_from_spec(spec)
        sys.modules[full] = module
        spec.loader.exec_module(module)
    return sys.modules[full]


ways = _beside("mutations")


@dataclass(frozen=True)
class Target:
    """Something that takes files: what is run, on which good files, spoiled how."""

    name: str
    run: Callable[[bytes, Path], None]
    seeds: Callable[[], Sequence[bytes]]
    way: Callable[[bytes, Random], bytes]


def told(error: SkeletonError) -> None:
    """A message is for a person: some words on one line."""
    message = str(error)
    assert message.strip()
    assert len(message) < LONGEST_MESSAGE, f"{len(message)} characters of message"
    assert not any(char in message for char in "\n\r\x1b"), message


# --- a score


@functools.cache
def small_scores() -> tuple[bytes, ...]:
    """The demo etudes, their first four measures of each part."""
    found = []
    for path in sorted(SCORES.glob("*.m*xl")):
        root = etree.fromstring(read_bytes(path.read_bytes(), path.name).source.data)
        for part in root.iterchildren("part"):
            for measure in part.findall("measure")[4:]:
                part.remove(measure)
        found.append(etree.tostring(root))
    return tuple(found)


def lists_of(found: Analysis, lesson: Lesson | None = None) -> None:
    """Every list of an etude; what other programs read is read back."""
    shown = plain_text(outline_document(found))
    assert shown.strip()
    assert not any(ord(char) < 32 and char != "\n" for char in shown)
    json.loads(outline_json(found))
    tasks = checklist(found)
    checklist_text(tasks)
    checklist_csv(tasks)
    json.loads(checklist_json(tasks))
    aimed = targets(found)
    targets_csv(aimed)
    json.loads(targets_json(aimed))
    handout_content(found, aimed, words("en"), lesson)


def run_score(data: bytes, _folder: Path) -> None:
    """Read, analyse, make the lists, reduce; mark it and read it again."""
    try:
        found = analyse(read_bytes(data, "spoiled.musicxml"))
        lists_of(found)
        reduced, _ = musicxml(found, "neighbours")
        read_bytes(reduced, "reduced.musicxml")
    except SkeletonError as error:
        told(error)
        return
    try:
        marked, _ = musicxml(found, "annotated")
    except OutputError as error:
        told(error)
        return
    again = read_bytes(marked, "marked.musicxml")
    assert [[(note.id, note.pitch, note.onset_quarters) for note in part.notes]
            for part in again.parts] == [
        [(note.id, note.pitch, note.onset_quarters) for note in part.notes]
        for part in found.score.parts
    ]  # fmt: skip


@functools.cache
def archives() -> tuple[bytes, ...]:
    """Two of them zipped, with a container and without."""
    found = []
    for score in small_scores()[:2]:
        for container in (
            '<container><rootfiles><rootfile full-path="s.xml"/></rootfiles></container>', None
        ):  # fmt: skip
            out = io.BytesIO()
            with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
                if container is not None:
                    archive.writestr("META-INF/container.xml", container)
                archive.writestr("s.xml", score)
            found.append(out.getvalue())
    return tuple(found)


def foreign_seeds() -> tuple[bytes, ...]:
    """Small scores in other formats: some written here, and the smallest that music21 carries."""
    abc = b"X:1\nT:Small\nM:3/4\nL:1/8\nK:D\n(^FG) (^cd) (^fg)|[K:G] (3ABc d2 z2|]\n"
    kern = b"**kern\n*M2/4\n*k[f#]\n=1\n(8f#\n8g)\n(8c#\n8d)\n=2\n4g\n4r\n==\n*-\n"
    mei = (
        b'<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score><scoreDef '
        b'meter.count="2" meter.unit="4"><staffGrp><staffDef n="1" lines="5" clef.shape="G" '
        b'clef.line="2"/></staffGrp></scoreDef><section><measure n="1"><staff n="1"><layer n="1">'
        b'<note pname="f" accid="s" oct="4" dur="4"/><note pname="g" oct="4" dur="4"/></layer>'
        b"</staff></measure></section></score></mdiv></body></music></mei>"
    )
    midi = (
        b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk\0\0\0\x14\0\x90\x42\x40\x60\x80\x42\0\0\x90\x43\x40"
        b"\x60\x80\x43\0\0\xff\x2f\0"
    )
    return (abc, kern, mei, midi)


def run_foreign(data: bytes, _folder: Path) -> None:
    """Read a score of another format, and make its lists."""
    try:
        lists_of(analyse(read_bytes(data, "spoiled.abc")))
    except SkeletonError as error:
        told(error)


# --- a lesson


@functools.cache
def etude() -> Analysis:
    """The first demo etude, as it stands."""
    path = SCORES / "first-skeleton.musicxml"
    return analyse(read_bytes(path.read_bytes(), path.name))


def lesson_seeds() -> tuple[bytes, ...]:
    """The lesson file of the first demo etude, and one for it with every key."""
    place = etude().parts[0].skeleton[0].place
    note = etude().parts[0].accidentals[1].place.id
    whole = f"""title = "Week three"
instrument = "violin"
a4_hz = 442.0
rule = "second"
key = "D major"
key_signs = true
keep_open_strings = true
part = "P1"
assignment = "By heart.\\nThen slowly."
[[passage]]
name = "A"
measures = "1-8"
tempo = 56.5
stage = "bare"
goal = "every D rings"
[[note]]
measure = "{place.measure}"
beat = "{place.beat}"
pitch = "{place.pitch}"
skeleton = false
[[note]]
id = "{note}"
anchor = "G5"
[[lean]]
pitch = "F#"
cents = 85
anchor = "G"
"""
    return ((SCORES / "first-skeleton.toml").read_bytes(), whole.encode())


def run_lesson(data: bytes, folder: Path) -> None:
    """Read a lesson and analyse an etude by it."""
    path = folder / "spoiled.toml"
    path.write_bytes(data)
    try:
        lesson = read_lesson(path)
        lists_of(analyse(etude().score, lesson), lesson)
    except SkeletonError as error:
        told(error)


# --- marks and takes


def _music() -> Music:
    score = etude().score
    return Music(content_id(score), score.title, note_keys(score))


def marks_seeds() -> tuple[bytes, ...]:
    """A file of marks, and the report of a take."""
    score = etude().score
    sha = hashlib.sha256(score.source.data).hexdigest()
    notes = [note.id for note in score.parts[0].notes[:6]]
    said = zip(notes, ("flat", "sharp", "unsure") * 2, strict=True)
    marks = [{"note": note, "says": says} for note, says in said]
    takes = [{"date": "2026-03-14", "marks": marks}, {"date": "2026-03-15", "marks": []}]
    measured = [{"id": note, "off_cents": -12.5, "u_cents": 3.0, "verdict": "flat",
                 "lean_cents": 88.0, "heard": [{"confidence": 0.9}]} for note in notes]  # fmt: skip
    report = {"format": 1, "etude": {"sha256": sha}, "notes": measured,
              "take": {"name": "a.wav", "date": "2026-03-14"}}  # fmt: skip
    return (
        json.dumps({"format": 1, "etude": sha, "takes": takes}).encode(),
        json.dumps(report).encode(),
    )


def run_marks(data: bytes, folder: Path) -> None:
    """Read the bytes as marks and as a take; what is read goes into a journal."""
    path = folder / "spoiled.json"
    path.write_bytes(data)
    music, score = _music(), etude().score
    with Journal(":memory:") as book:
        try:
            takes = read_ear_marks(path, score.source.data, tuple(music.keys))
            book.add_marks("Ana", music, [
                MarkedTake(checked_date(one.date, "marks"),
                           tuple(EarMark(note, says) for note, says in one.marks.items()))
                for one in takes
            ])  # fmt: skip
        except SkeletonError as error:
            told(error)
        try:
            take = take_from_json(data, "spoiled.json")
            assert all(abs(one.deviation_cents) <= 2400 for one in take.notes)
            book.record("Ana", music, take)
        except SkeletonError as error:
            told(error)
        list(to_lines(book.everything()))


# --- a journal


def filled_journal() -> tuple[list[str], list[str]]:
    """A small journal as lines and as a table."""
    music = _music()
    notes = list(music.keys)[:4]
    with Journal(":memory:") as book:
        for who, day in (("Ana", "2026-03-14"), ("Bo", "2026-03-15T10:00:00")):
            heard = tuple(MeasuredNote(note, -12.5, 3.0, "flat", 88.0, 0.9) for note in notes)
            book.record(who, music, MeasuredTake(day, heard, "a.wav"))
        book.add_marks("Ana", music, [MarkedTake("2026-03-14", (EarMark(notes[0], "flat"),))])
        book.add_lesson("Ana", music, "2026-03-14", 'title = "first"\n')
        return list(to_lines(book.everything())), list(csv_lines(book.everything()))


def lines_seeds() -> tuple[bytes, ...]:
    """A journal as lines of JSON."""
    return ("".join(filled_journal()[0]).encode(),)


def table_seeds() -> tuple[bytes, ...]:
    """A journal as a table."""
    return ("".join(filled_journal()[1]).encode(),)


def _put_in(data: bytes, put: Callable[..., object]) -> None:
    """All of it is kept, or nothing."""
    with Journal(":memory:") as book:
        try:
            with io.TextIOWrapper(io.BytesIO(data), encoding="utf-8-sig", newline="") as lines:
                put(book, lines, "spoiled")
        except SkeletonError as error:
            told(error)
            assert [*book.everything()] == []
            return
        except UnicodeDecodeError:  # told by the command, which opens the file
            assert [*book.everything()] == []
            return
        once = list(to_lines(book.everything()))
        again = from_lines(book, once, "again")
        assert again.takes == 0, "kept twice"
        list(csv_lines(book.everything()))
    with Journal(":memory:") as other:
        from_lines(other, once, "again")
        assert _in_order(to_lines(other.everything())) == _in_order(once)


def _in_order(lines: Iterable[str]) -> list[str]:
    """The same lines, the notes of each by their keys: a journal has its own order."""
    entries = [json.loads(line) for line in lines]
    for entry in entries:
        for name in ("notes", "marks"):
            if name in entry:
                entry[name].sort(key=lambda one: (one["key"], str(one)))
    return sorted(json.dumps(entry, sort_keys=True) for entry in entries)


def run_lines(data: bytes, _folder: Path) -> None:
    """Import lines of JSON."""
    _put_in(data, from_lines)


def run_table(data: bytes, _folder: Path) -> None:
    """Import a table."""
    _put_in(data, from_table)


# --- a recording


@functools.cache
def sound_seeds() -> tuple[bytes, ...]:
    """Half a second of a tone in every format that can be written here."""
    rate = 16000
    tone = (0.3 * np.sin(2 * np.pi * 440 * np.arange(rate // 2) / rate)).astype(np.float32)
    found = []
    for form, kind in (
        ("WAV", "PCM_16"), ("WAV", "FLOAT"), ("FLAC", "PCM_16"), ("OGG", "VORBIS"), ("OGG", "OPUS"),
        ("MP3", "MPEG_LAYER_III"), ("AIFF", "PCM_16"), ("CAF", "PCM_16"), ("RF64", "PCM_16"),
    ):  # fmt: skip
        out = io.BytesIO()
        both = np.stack([tone, tone / 2], axis=1) if kind == "PCM_16" else tone
        soundfile.write(out, both, rate, format=form, subtype=kind)
        found.append(out.getvalue())
    return (*found, *_phone_seeds(tone, rate))


def _phone_seeds(tone: np.ndarray, rate: int) -> tuple[bytes, ...]:
    """The same as phones write it; none where the extra decoders are not installed."""
    if importlib.util.find_spec("av") is None:
        return ()
    import av

    found = []
    for container, codec in (("mp4", "aac"), ("adts", "aac"), ("matroska", "flac"), ("mov", "aac")):
        out = io.BytesIO()
        with av.open(out, "w", format=container) as file:
            stream = file.add_stream(codec, rate=rate)
            stream.layout = "mono"
            frame = av.AudioFrame.from_ndarray(tone[None, :], format="fltp", layout="mono")
            frame.sample_rate, frame.pts = rate, 0
            context = stream.codec_context
            cut = av.AudioResampler(
                format=context.format, layout="mono", rate=rate,
                frame_size=context.frame_size or 1024,
            )  # fmt: skip
            for piece in [*cut.resample(frame), *cut.resample(None)]:
                file.mux(stream.encode(piece))
            file.mux(stream.encode(None))
        found.append(out.getvalue())
    return tuple(found)


def run_sound(data: bytes, folder: Path) -> None:
    """Read a recording through, twice: to know it, and for its samples."""
    path = folder / "spoiled.wav"
    path.write_bytes(data)
    try:
        known = open_recording(path)
        count = 0
        for block in blocks(known):
            assert np.isfinite(block).all()
            count += len(block)
        assert abs(count / 22050 - known.duration_s) < 1.0
    except SkeletonError as error:
        told(error)


_XML = ways.one_of(ways.elements_changed, ways.elements_changed, ways.values_changed,
                   ways.bytes_changed)  # fmt: skip
_TEXT = ways.one_of(ways.values_changed, ways.lines_changed, ways.bytes_changed)
_JSON = ways.one_of(ways.json_changed, ways.json_changed, ways.values_changed, ways.bytes_changed)

TARGETS = {
    target.name: target
    for target in (
        Target("score", run_score, small_scores, _XML),
        Target("archive", run_score, archives, ways.zip_changed),
        Target("foreign", run_foreign, foreign_seeds, ways.one_of(_TEXT, _XML)),
        Target("lesson", run_lesson, lesson_seeds, _TEXT),
        Target("marks", run_marks, marks_seeds, _JSON),
        Target("lines", run_lines, lines_seeds, _JSON),
        Target("table", run_table, table_seeds, _TEXT),
        Target("sound", run_sound, sound_seeds, ways.bytes_changed),
    )
}
"""Every target by its name."""
