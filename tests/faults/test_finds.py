"""What searching with spoiled and hostile files has found, each mended, each kept here."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest
import soundfile

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import parse_lesson, read_lesson
from skeleton.audio.decode import blocks, open_recording
from skeleton.errors import LessonError, OptionError, ScoreError, TakeError
from skeleton.export.views import musicxml
from skeleton.journal.database import Journal
from skeleton.journal.take import MeasuredNote, MeasuredTake, take_from_json
from skeleton.journal.transfer import from_lines, to_lines
from skeleton.listening.ear_marks import LARGEST_BYTES, read_ear_marks
from skeleton.score.reading import read, read_bytes

BIG = "9" * 4000
MIDI_WITHOUT_END = (
    b"MThd\0\0\0\x06\0\0\0\x01\0\x01MTrk\0\0\0\x17\0\x90\x42\x40\xff\xff\xff\x7f\x80\x42\0"
    b"\0\x90\x43\x40\x60\x80\x43\0\0\xff\x2f\0"
)
"""A note of the longest time MIDI can write (four bytes of seven bits), at a tick a quarter."""


# --- scores


def attributes(inside: str) -> str:
    return f"<attributes>{inside}</attributes>"


def tuplet(inside: str) -> str:
    return (
        f"<note><rest/><type>quarter</type><time-modification>{inside}</time-modification></note>"
    )


def test_many_kinds_of_divisions_do_not_grow_the_fractions(made, bounded) -> None:
    def is_prime(number: int) -> bool:
        return all(number % divisor for divisor in range(2, 1000))

    primes = [number for number in range(999_983, 990_000, -1) if is_prime(number)][:400]
    measures = [
        f"<attributes><divisions>{prime}</divisions></attributes>"
        + made.pair().replace("<duration>1<", f"<duration>{prime}<")
        for prime in primes
    ]
    with bounded():
        score = read_bytes(made.whole(*measures), "x")
    assert "wild-divisions" in {notice.code for notice in score.notices}
    last = score.parts[0].notes[-1]
    # A quarter each: what is rounded is still right where it can be.
    assert last.onset_quarters == 2 * len(primes) - 1
    assert last.onset_quarters.denominator < 10**100


@pytest.mark.parametrize(
    "inside",
    [
        attributes(
            "<transpose><chromatic>0</chromatic><octave-change>{}</octave-change></transpose>"
        ),
        attributes("<transpose><diatonic>{}</diatonic><chromatic>2</chromatic></transpose>"),
        attributes("<staves>{}</staves>"),
        attributes("<clef><sign>G</sign><line>{}</line></clef>"),
        attributes("<clef><sign>G</sign><clef-octave-change>{}</clef-octave-change></clef>"),
        attributes('<key number="{}"><fifths>2</fifths></key>'),
        "<note><rest/><duration>1</duration><staff>{}</staff></note>",
        tuplet("<actual-notes>{}</actual-notes><normal-notes>3</normal-notes>"),
        tuplet("<actual-notes>3</actual-notes><normal-notes>{}</normal-notes>"),
    ],
)
@pytest.mark.parametrize("number", [BIG, "99999999999", "-99999999999"])
def test_an_absurd_number_in_a_score(made, bounded, faults, inside: str, number: str) -> None:
    with bounded(3.0):
        faults.run_score(made.whole(inside.format(number) + made.pair()), Path())


def test_a_sum_of_metres_without_end_is_no_metre(made) -> None:
    beats = "+".join(["1024"] * 2000)
    time = f"<attributes><time><beats>{beats}</beats><beat-type>1</beat-type></time></attributes>"
    score = read_bytes(made.whole(made.pair(), time, made.pair()), "x")
    assert "bad-metre" in {notice.code for notice in score.notices}
    assert score.parts[0].measures[1].length_quarters == 4


@pytest.mark.parametrize(
    "filler",
    ["<forward><duration>999999999</duration></forward>",
     "<note><rest/><duration>999999999</duration></note>"],
)  # fmt: skip
def test_a_measure_without_end(made, bounded, filler: str) -> None:
    with bounded(3.0), pytest.raises(ScoreError, match="measure 2: is longer than"):
        read_bytes(made.whole(made.pair(), made.pair() + filler), "x")


@pytest.mark.parametrize(
    "where", ["title", "part name", "rehearsal", "measure number", "part id", "note id"]
)
def test_a_text_of_megabytes_is_not_repeated_at_every_note(
    made, bounded, faults, where: str
) -> None:
    long = "x" * 4_000_000
    data = made.whole(made.pair() * 100)
    if where == "title":
        data = made.whole(made.pair(), head=f"<movement-title>{long}</movement-title>")
    elif where == "part name":
        data = made.whole(made.pair(), name=long)
    elif where == "rehearsal":
        data = made.whole(
            f"<direction><direction-type><rehearsal>{long}</rehearsal></direction-type></direction>"
            + made.pair()
        )
    elif where == "measure number":
        data = data.replace(b'number="1"', f'number="{long}"'.encode(), 1)
    elif where == "part id":
        data = made.whole(made.pair() * 100, part=long)
    else:
        data = data.replace(b"<note>", f'<note id="{long}">'.encode(), 1)
    with bounded():
        found = analyse(read_bytes(data, "x"))
        assert max(len(note.id) for note in found.score.parts[0].notes) < 300
        assert len(faults.outline_json(found)) < 2_000_000
        faults.lists_of(found)


@pytest.mark.parametrize("beat_type", [3, 5, 6, 7, 12, 1024])
def test_a_metre_whose_beats_no_note_value_has(made, faults, beat_type: int) -> None:
    metre = f"<attributes><divisions>8</divisions><time><beats>3</beats><beat-type>{beat_type}"
    notes = made.pair().replace("<duration>1<", "<duration>2<") * 2
    odd = made.pair().replace("<duration>1<", "<duration>5<")
    data = made.whole(f"{metre}</beat-type></time></attributes>{notes}", notes + odd, notes)
    faults.run_score(data, Path())


@pytest.mark.parametrize("way", ["chord", "voices"])
def test_thousands_of_notes_at_one_time(made, bounded, faults, way: str) -> None:
    second = made.pair().split("</note><note>")[1]
    chord = f"<note><chord/>{second}"
    back = "<backup><duration>1</duration></backup>"
    for count in (300, 3000):
        crowd = made.pair() + (
            chord * count
            if way == "chord"
            else "".join(
                f"{back}<note>{second.replace('<voice>1', f'<voice>{n + 2}')}" for n in range(count)
            )
        )
        with bounded():
            if count == 300:
                faults.run_score(made.whole(crowd, made.pair()), Path())
            else:
                with pytest.raises(ScoreError, match="measure 1: has more than 1000 notes"):
                    analyse(read_bytes(made.whole(crowd, made.pair()), "x"))


def test_many_parts_of_one_id(made, bounded) -> None:
    part = f'<part id="P"><measure number="1">{made.attributes}{made.pair()}</measure></part>'
    with bounded():
        score = read_bytes(f"<score-partwise>{part * 2000}</score-partwise>".encode(), "x")
    assert len({each.id for each in score.parts}) == 2000
    ids = [note.id for each in score.parts for note in each.notes]
    assert len(set(ids)) == len(ids) == 4000


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (b"X:1\nT:S\nM:3/4\nL:1/8\nK:D\n^F G" + b"3" * 70 + b" G2|\n", "x.abc"),
        (MIDI_WITHOUT_END, "x.mid"),
    ],
)  # fmt: skip
def test_a_rest_without_end_in_another_format(bounded, data: bytes, name: str) -> None:
    with bounded(), pytest.raises(ScoreError, match="longer than"):
        read_bytes(data, name)


@pytest.mark.parametrize("place", range(3))
def test_a_metre_without_end_in_another_format(bounded, faults, place: int) -> None:
    data = faults.foreign_seeds()[place]
    for old, new in ((b"M:3/4", b"M:999983/4"), (b"*M2/4", b"*M999983/4"),
                     (b'meter.count="2"', b'meter.count="999983"')):  # fmt: skip
        data = data.replace(old, new)
    assert b"999983" in data
    with bounded(3.0), pytest.raises(ScoreError, match="more digits"):
        read_bytes(data, "x")


def test_a_file_whose_name_no_picture_can_hold(made, tmp_path: Path) -> None:
    path = tmp_path / "a\x01\x1b[31m\udcff.musicxml"
    path.write_bytes(made.whole(made.pair()))
    score = read(path)
    assert score.source.name == "a\ufffd\ufffd[31m\ufffd.musicxml"
    assert b"a\xef\xbf\xbd" in musicxml(analyse(score), "bare")[0]


# --- archives


def _patched(data: bytes, local: int, central: int, form: str, value: int) -> bytes:
    """Overwrite a field of the last member, in its own header and in the directory."""
    out = bytearray(data)
    for signature, offset in ((b"PK\x03\x04", local), (b"PK\x01\x02", central)):
        struct.pack_into(form, out, out.rindex(signature) + offset, value)
    return bytes(out)


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_bomb_in_one_block_of_another_method(bounded, method: int) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive, archive.open("s.xml", "w") as member:
        member.write(bytes(1 << 23))
    small = _patched(out.getvalue(), 22, 24, "<I", 100)  # says that it holds a hundred bytes
    with bounded(3.0), pytest.raises(ScoreError, match="DEFLATE"):
        read_bytes(small, "x.mxl")


def test_a_directory_that_lies_before_the_archive(made) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("s.xml", made.whole(made.pair()))
    data = bytearray(out.getvalue())
    struct.pack_into("<I", data, data.rindex(b"PK\x05\x06") + 12, len(data) * 2)  # its size
    with pytest.raises(ScoreError, match="damaged"):
        read_bytes(bytes(data), "x.mxl")
    struct.pack_into("<I", data, data.rindex(b"PK\x05\x06") + 12, 10)
    with pytest.raises(ScoreError, match=r"damaged|no MusicXML"):
        read_bytes(bytes(data), "x.mxl")


@pytest.mark.parametrize("name", ["s\n\x1b[2J.xml", "s" * 20_000 + ".xml"])
def test_messages_about_an_archive_are_one_short_line(name: str) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(name, b"PK\x03\x04")
        root = f'<container><rootfile full-path="{name[0]}.xml"/></container>'
        archive.writestr("META-INF/container.xml", root)
    wrong = bytearray(out.getvalue())
    wrong[30:40] = b"otherwise!"  # the name in the member's own header
    for data in (out.getvalue(), bytes(wrong), out.getvalue()[:-60]):
        with pytest.raises(ScoreError) as told:
            read_bytes(data, "x.mxl")
        assert str(told.value).isprintable()
        assert len(str(told.value)) < 400


def test_what_xml_says_of_itself_is_cut_short() -> None:
    with pytest.raises(ScoreError) as told:
        read_bytes(f"<score-partwise {'x' * 5000}/>".encode(), "x")
    assert len(str(told.value)) < 400


def test_very_many_members_and_a_container_that_names_none_of_them(bounded) -> None:
    out = io.BytesIO()
    roots = "".join(f'<rootfile full-path="no{place}.xml"/>' for place in range(50))
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("META-INF/container.xml", f"<container>{roots}</container>")
        for place in range(8_000):
            archive.writestr(f"m{place}.txt", b"")
    with bounded(3.0), pytest.raises(ScoreError, match="no MusicXML"):
        read_bytes(out.getvalue(), "x.mxl")


# --- lessons

QUOTED = '"a".'


@pytest.mark.parametrize(
    "text",
    [f"a{'.a' * 20_000} = 1", f"[{'a . ' * 5_000}a]", f"x = {{{QUOTED * 5_000}a = 1}}"],
)  # fmt: skip
def test_a_key_of_thousands_of_dots(bounded, text: str) -> None:
    with bounded(2.0), pytest.raises(LessonError, match="nested too deeply"):
        parse_lesson(text)


@pytest.mark.parametrize(
    "text",
    ['[[passage]]\nname = "a"\nmeasures = "{}"', '[[note]]\nbeat = 1\nmeasure = "{}"',
     'open_strings = ["G3", "{}"]', "{} = 1\n{} = 1"],
)  # fmt: skip
def test_messages_about_a_lesson_stay_short(text: str) -> None:
    with pytest.raises(LessonError) as told:
        parse_lesson(text.replace("{}", "x" * 5000))
    assert len(str(told.value)) < 600


def test_a_lesson_file_without_end_is_not_read_to_its_end(tmp_path: Path, bounded) -> None:
    with (tmp_path / "x.toml").open("wb") as file:
        file.truncate(3 << 30)  # of zeros, and nothing on the disk
    with bounded(2.0), pytest.raises(LessonError, match="too large"):
        read_lesson(tmp_path / "x.toml")


# --- marks, takes, journals


def test_marks_without_end_are_not_read_to_their_end(tmp_path: Path, bounded) -> None:
    with (tmp_path / "x.json").open("wb") as file:
        file.truncate(3 << 30)
    assert LARGEST_BYTES < 1 << 30
    with bounded(2.0), pytest.raises(OptionError, match="too large"):
        read_ear_marks(tmp_path / "x.json", b"", ())


def test_messages_about_marks_stay_short(faults, tmp_path: Path) -> None:
    marks = json.loads(faults.marks_seeds()[0])
    path = tmp_path / "x.json"
    source = faults.etude().score.source.data
    notes = [note.id for note in faults.etude().score.parts[0].notes]
    for key in ("note", "says"):
        spoiled = json.loads(json.dumps(marks))
        spoiled["takes"][0]["marks"][0][key] = "x" * 5000
        path.write_text(json.dumps(spoiled))
        with pytest.raises(OptionError) as told:
            read_ear_marks(path, source, notes)
        assert len(str(told.value)) < 300 + len(str(path))


def test_a_number_too_large_for_a_float() -> None:
    note = {"id": "n1", "verdict": "flat", "off_cents": 10**400, "u_cents": 1.0}
    with pytest.raises(TakeError, match="cannot be"):
        take_from_json(json.dumps({"format": 1, "notes": [note]}), "x", when="2026-03-14")


def test_a_journal_put_in_again_keeps_nothing_twice(faults, tmp_path: Path) -> None:
    music = faults._music()
    notes = list(music.keys)[:4]

    def take(day: str, names: list[str]) -> MeasuredTake:
        return MeasuredTake(day, tuple(MeasuredNote(one, -3.0, 2.0, "flat") for one in names))

    # The first take holds later notes: a journal has them in another order than the second take.
    with Journal(tmp_path / "a") as book:
        assert book.record("Ana", music, take("2026-03-14", notes[2:]))
        assert book.record("Ana", music, take("2026-03-15", notes))
        done = from_lines(book, list(to_lines(book.everything())), "lines")
        assert (done.takes, done.known_takes) == (0, 2)
        assert not book.record("Ana", music, take("2026-03-15", notes))
        assert sum(one.takes for one in book.holdings()) == 2


def test_a_negative_zero_does_not_make_a_take_another_one(faults, tmp_path: Path) -> None:
    notes = [{"id": one, "off_cents": -0.0, "u_cents": 1.0, "verdict": "in tune"}
             for one in list(faults._music().keys)[:2]]  # fmt: skip
    report = json.dumps({"format": 1, "notes": notes})
    with Journal(tmp_path / "a") as book:
        book.record("Ana", faults._music(), take_from_json(report, "x", when="2026-03-14"))
        assert from_lines(book, list(to_lines(book.everything())), "lines").takes == 0


# --- sounds


def test_numbers_that_are_no_sound(tmp_path: Path) -> None:
    path = tmp_path / "x.wav"
    rate = 16000
    tone = (0.3 * np.sin(2 * np.pi * 440 * np.arange(rate) / rate)).astype(np.float32)
    tone[3000:3400] = 3e38
    tone[5000] = np.nan
    soundfile.write(path, tone, rate, subtype="FLOAT")
    known = open_recording(path)
    assert {notice.code for notice in known.notices} == {"no-number"}
    heard = np.concatenate(list(blocks(known)))
    assert np.abs(heard).max() < 0.5
    assert known.level_dbfs == pytest.approx(-13.5, abs=1.0)


def test_damaged_files_say_nothing_of_their_own(faults, tmp_path: Path, capfd) -> None:
    target = faults.TARGETS["sound"]
    seeds = [seed for seed in target.seeds() if seed[:4] in (b"caff", b"FORM", b"RF64", b"RIFF")]
    for number in range(200):
        target.run(faults.ways.spoiled(seeds, target.way, number), tmp_path)
    told = capfd.readouterr()
    assert (told.out, told.err) == ("", "")


def test_damaged_phone_files_say_nothing_of_their_own(faults, tmp_path: Path, capfd) -> None:
    pytest.importorskip("av", reason="the extra decoders are not installed")
    target = faults.TARGETS["sound"]
    seeds = [seed for seed in target.seeds() if seed[4:8] in (b"ftyp", b"moov", b"wide")]
    assert seeds
    for number in range(60):
        target.run(faults.ways.spoiled(seeds, target.way, number), tmp_path)
    told = capfd.readouterr()
    assert (told.out, told.err) == ("", "")


def test_a_recording_whose_channels_change(tmp_path: Path) -> None:
    av = pytest.importorskip("av", reason="the extra decoders are not installed")
    path = tmp_path / "x.aac"
    with path.open("wb") as out:
        for layout in ("mono", "stereo"):
            part = io.BytesIO()
            with av.open(part, "w", format="adts") as file:
                stream = file.add_stream("aac", rate=16000)
                stream.layout = layout
                channels = 1 if layout == "mono" else 2
                for start in range(0, 16000, 1024):
                    times = np.arange(start, start + 1024) / 16000
                    tone = np.sin(2 * np.pi * 440 * times).astype(np.float32) / 3
                    frame = av.AudioFrame.from_ndarray(
                        np.repeat(tone[None, :], channels, axis=0), format="fltp", layout=layout
                    )
                    frame.sample_rate, frame.pts = 16000, start
                    file.mux(stream.encode(frame))
                file.mux(stream.encode(None))
            out.write(part.getvalue())
    with pytest.raises(TakeError, match="changes after"):
        open_recording(path)


def test_what_is_read_can_be_reduced(made) -> None:
    # An anchor for the tests above: their score is one that everything can be made of.
    data, _ = musicxml(analyse(read_bytes(made.whole(made.pair()), "x")), "bare")
    assert b"<note" in data
