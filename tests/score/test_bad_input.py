"""Input that is no score, or a trap: one clear line each, never a traceback, a hang, a lie."""

from __future__ import annotations

import gc
import time

import pytest

from skeleton.errors import ScoreError
from skeleton.score.reading import read, read_bytes


def refused(data: bytes, name: str = "lesson.musicxml") -> str:
    with pytest.raises(ScoreError) as caught:
        read_bytes(data, name)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith(name)
    assert len(message) < 400
    return message


@pytest.mark.parametrize("data", [b"", b"   \n", b"\0\0\0\0", b"\n" * 10_000])
def test_empty(data):
    assert "empty" in refused(data)


@pytest.mark.parametrize(
    "data",
    [b"just some words", b"%PDF-1.7 \x00\x01\x02", b"\x89PNG\r\n\x1a\n\0\0", bytes(range(256)),
     b"\xef\xbb\xbf plain", b"{}", b"\xff\xfe\xff\xfe"],
)  # fmt: skip
def test_not_xml(data):
    refused(data)


def test_truncated(score, measures, note):
    whole = score(measures("\n".join(note() for _ in range(20))))
    message = refused(whole[: len(whole) // 2])
    assert f"line {whole[: len(whole) // 2].count(bytes([10])) + 1}" in message
    assert "ends too early" in message


def test_every_truncation_is_refused(score, measures, note):
    whole = score(measures(note("F#4", 4, slur="start") + note("G4", 4, slur="stop")))
    for length in range(len(whole)):
        refused(whole[:length])


def test_the_line_is_named(score, measures):
    message = refused(score(measures("\n\n\n<note></pitch></note>")))
    assert "line 4" in message


def test_wrong_root():
    message = refused(b"<?xml version='1.0'?>\n<!-- x -->\n<recipe><flour/></recipe>")
    assert "<recipe>" in message
    assert "line 3" in message


def test_opus():
    assert "opus" in refused(b"<opus><title/></opus>")


@pytest.mark.parametrize(
    "data",
    [b"<!DOCTYPE html><html><body><p>Not found<br></body></html>", b"<html><body>x</body></html>",
     b"\n<HTML><BODY>x"],
)  # fmt: skip
def test_a_web_page(data):
    assert "web page" in refused(data)


def test_many_entities_are_not_expanded():
    lines = ['<!ENTITY a0 "ha">'] + [f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 12)]
    bomb = "<!DOCTYPE score-partwise [" + "".join(lines) + "]>"
    for body in ("<score-partwise>&a11;</score-partwise>", '<score-partwise version="&a11;"/>'):
        started = time.process_time()
        assert "entities of its own" in refused((bomb + body).encode())
        assert time.process_time() - started < 2


def test_entities_are_refused_also_when_harmless(score, measures, note):
    data = b'<!DOCTYPE score-partwise [<!ENTITY me "Anon">]>' + score(measures(note()))
    assert "entities of its own" in refused(data)


@pytest.mark.parametrize("kind", ["SYSTEM", 'PUBLIC "x"'])
@pytest.mark.parametrize("percent", ["", "% "])
def test_no_file_is_fetched_by_an_entity(tmp_path, kind, percent):
    secret = tmp_path / "secret.txt"
    secret.write_text("C4")
    use = "%x;" if percent else ""
    data = (
        f'<!DOCTYPE score-partwise [<!ENTITY {percent}x {kind} "{secret.as_uri()}"> {use}]>'
        "<score-partwise>&x;</score-partwise>"
    )
    assert "entities of its own" in refused(data.encode())


def test_no_document_type_is_fetched(tmp_path, score, measures, note):
    # The DTD gives every <note> a default id: were it read, the ids would show it.
    dtd = tmp_path / "own.dtd"
    dtd.write_text('<!ATTLIST note id CDATA "fetched">')
    data = f'<!DOCTYPE score-partwise SYSTEM "{dtd.as_uri()}">'.encode() + score(measures(note()))
    assert read_bytes(data, "x").parts[0].notes[0].id == "P1-m1-n1"


def test_a_network_document_type_is_ignored(score, measures, note):
    data = (
        b'<?xml version="1.0"?><!DOCTYPE score-partwise PUBLIC "-//X//DTD X//EN" '
        b'"http://127.0.0.1:9/partwise.dtd">' + score(measures(note()))
    )
    assert len(read_bytes(data, "x").parts[0].notes) == 1


def test_character_references_are_read(score, measures, note):
    data = score(measures(note()), head="<movement-title>A &amp; &#66;</movement-title>")
    assert read_bytes(data, "x").title == "A & B"


def test_deep_nesting():
    deep = b"<score-partwise>" + b"<a>" * 50_000 + b"</a>" * 50_000 + b"</score-partwise>"
    assert "nested deeper" in refused(deep)


def test_a_text_of_many_millions(score, measures, note):
    data = score(measures(note()), head=f"<movement-title>{'x' * 11_000_000}</movement-title>")
    refused(data)


def test_no_such_file(tmp_path):
    with pytest.raises(ScoreError, match="no such file"):
        read(tmp_path / "missing.musicxml")


def test_a_folder(tmp_path):
    with pytest.raises(ScoreError, match="folder"):
        read(tmp_path)


def test_an_impossible_name():
    with pytest.raises(ScoreError, match="cannot be read"):
        read("a\0b")


def test_empty_scores_are_scores():
    for root in (b"<score-partwise/>", b"<score-timewise/>"):
        score = read_bytes(root, "x")
        assert score.parts == ()
        assert [each.code for each in score.notices] == ["no-notes"]


def test_no_slurs(read_part, note):
    part = read_part(note() + note("B4"))
    assert part.slurs == ()


@pytest.mark.parametrize(
    "child",
    ["<note/>", "<note><pitch/></note>", "<note><chord/></note>", "<backup/>", "<forward/>",
     "<attributes><key/><time/><clef/><transpose/><divisions/><staves/></attributes>",
     "<barline/>", "<barline location='left'><ending/><repeat/></barline>", "<direction/>",
     "<note><rest/><duration>x</duration></note>", "<note><notations><slur/></notations></note>",
     "<note><pitch><step>A</step><octave>4</octave></pitch><duration>-4</duration></note>",
     "<note><grace/><chord/><cue/></note>", "<backup><duration>-4</duration></backup>",
     "<backup><duration>1e9</duration></backup>", "<note><dot/><time-modification/></note>",
     "<note><rest/><duration>99999999999999999999</duration></note>", "<unknown><note/></unknown>",
     "<note><tie/><notations><tied/><technical><string>x</string></technical></notations></note>",
     "<attributes><divisions>0.0000001</divisions></attributes>"],
)  # fmt: skip
def test_odd_children_never_stop_the_reading(read_score, note, child):
    score = read_score(note("A4", 4) + child + note("B4", 4))
    assert next(str(each.pitch) for each in score.parts[0].notes if each.pitch) == "A4"
    assert str(score.parts[0].notes[-1].pitch) == "B4"


def test_a_measure_with_wild_divisions_keeps_exact_time(read_part, note):
    primes = [999_983, 999_979, 999_961, 999_959, 999_953]
    text = "".join(
        f"<attributes><divisions>{prime}</divisions></attributes>" + note("A4", prime // 2)
        for prime in primes
    )
    part = read_part(text, attributes="")
    last = part.notes[-1]
    assert last.onset_quarters == sum(
        type(last.onset_quarters)(prime // 2, prime) for prime in primes[:-1]
    )


def test_three_hundred_thousand_notes(measures, note, score):
    measure = (
        note("F#4", 4, slur="start") + note("G4", 4, slur="stop")
        + note("A4", 4, tie="start") + note("A4", 4, tie="stop")
    )  # fmt: skip
    data = score(measures(*[measure] * 75_000))
    started = time.process_time()
    found = read_bytes(data, "x")
    took_s = time.process_time() - started
    (part,) = found.parts
    assert found.notices == ()
    assert len(part.notes) == 300_000
    assert len(part.slurs) == 75_000
    assert sum(each.tied_from is not None for each in part.notes) == 75_000
    assert took_s < 30, "linear reading takes about four seconds on two slow cores"


@pytest.mark.parametrize(
    "make",
    [
        lambda note: note("A4", 0, tie="start,stop"),
        lambda note: note("A4", None, before="<grace/>", tie="start,stop", slur="start"),
        lambda note: note("A4", 4, slur="start"),
        lambda note: note("A4", 4, slur="stop"),
        lambda note: note("A4", 0, before="<chord/>", slur="start,stop", tie="start"),
        lambda note: "<attributes><divisions>4</divisions></attributes>" + note("A4", 4),
    ],
)
def test_time_grows_with_the_notes_and_no_faster(make, note, measures, score):
    def seconds(count):
        one = make(note)
        best = float("inf")
        data = score(measures(one * count))
        for _ in range(3):
            started = time.process_time()
            read_bytes(data, "x")
            best = min(best, time.process_time() - started)
        return best

    small, large = seconds(2_000), seconds(16_000)
    assert large < 8 * small * 3, "eight times the notes took more than 24 times as long"


def test_the_garbage_collector_is_left_as_it_was(score, measures, note):
    data = score(measures(note()))
    assert gc.isenabled()
    read_bytes(data, "x")
    assert gc.isenabled()
    refused(b"no score")
    assert gc.isenabled()
    gc.disable()
    try:
        read_bytes(data, "x")
        assert not gc.isenabled()
    finally:
        gc.enable()
