"""``skeleton tuning`` as a player runs it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from folders import helper
from typer.testing import CliRunner

from skeleton.cli.app import app
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz

OFF_CENTS = (-12.0, -1.0, 4.5, 9.0)
TOLERANCE_CENTS = 0.8


tones = helper("audio/violin_tones")


def run(*arguments):
    return CliRunner().invoke(app, ["tuning", *map(str, arguments)])


def record(path, hz, seconds=1.0):
    line = [
        tones.Tone(one, 0.3 + 1.2 * number, 0.3 + 1.2 * number + seconds)
        for number, one in enumerate(hz)
    ]
    soundfile.write(path, tones.mixed(line, 3), tones.RATE)
    return path


@pytest.fixture(scope="module")
def strings(tmp_path_factory) -> Path:
    pure = open_string_hz(INSTRUMENTS["violin"])
    hz = [one * 2 ** (away / 1200) for one, away in zip(pure, OFF_CENTS, strict=True)]
    return record(tmp_path_factory.mktemp("take") / "strings.wav", hz)


def test_it_says_how_far_and_which_way(strings) -> None:
    result = run(strings)
    assert (result.exit_code, result.stderr) == (0, "")
    lines = result.stdout.splitlines()
    turn = lines[lines.index("What to turn") + 1 :][:3]
    assert [line.split(" by ")[0] for line in turn] == ["A4: down", "G3: up", "E5: down"]
    option = next(line for line in lines if "--strings-hz" in line).split()[-1]
    wanted = [
        one * 2 ** (away / 1200)
        for one, away in zip(open_string_hz(INSTRUMENTS["violin"]), OFF_CENTS, strict=True)
    ]
    off = 1200 * np.log2(np.array([float(one) for one in option.split(",")]) / wanted)
    assert np.abs(off).max() < TOLERANCE_CENTS
    assert "face turned away" in result.stdout


def test_help_names_the_options_and_the_program_lists_the_command() -> None:
    assert "tuning" in CliRunner().invoke(app, ["--help"]).output
    text = run("--help").output
    for option in ("TAKE", "--instrument", "--a4", "--tolerance", "--until", "--json", "-o", "-q"):
        assert option in text


def test_json_says_the_same_and_the_ending_chooses_it(strings, tmp_path) -> None:
    data = json.loads(run(strings, "--json").stdout)
    assert data["format"] == 1
    assert [one["verdict"] for one in data["strings"]] == ["flat", "in tune", "sharp", "sharp"]
    assert [one["turn"] for one in data["strings"]] == ["up", None, "down", "down"]
    assert [one["deviation_cents"] for one in data["strings"]] == pytest.approx(
        list(OFF_CENTS), abs=TOLERANCE_CENTS
    )
    assert [one["size_cents"] - one["pure_cents"] for one in data["pairs"]] == pytest.approx(
        [11.0, 5.5, 4.5], abs=2 * TOLERANCE_CENTS
    )
    assert all(0 < one["u_cents"] < 2 for one in data["strings"])
    run(strings, "-o", tmp_path / "t.json")
    assert json.loads((tmp_path / "t.json").read_text("utf-8")) == data


def test_options_decide(strings) -> None:
    at_442 = json.loads(run(strings, "--json", "--a4", "442").stdout)
    assert at_442["strings"][2]["deviation_cents"] == pytest.approx(4.5 - 7.851, abs=0.8)
    wide = json.loads(run(strings, "--json", "--tolerance", "20").stdout)
    assert {one["verdict"] for one in wide["strings"]} == {"in tune"}
    start = json.loads(run(strings, "--json", "--until", "2.6").stdout)
    assert [one["hz"] is None for one in start["strings"]] == [False, False, True, True]


def test_a_list_of_strings_is_an_instrument(tmp_path) -> None:
    take = record(tmp_path / "a.wav", [220.0, 330.0, 440.0, 660.0])
    data = json.loads(run(take, "--json", "--instrument", "A3 E4 A4 E5").stdout)
    assert data["instrument"]["open_strings"] == ["A3", "E4", "A4", "E5"]
    assert {one["verdict"] for one in data["strings"]} == {"in tune"}


def test_a_take_of_something_else_is_one_line(tmp_path) -> None:
    soundfile.write(tmp_path / "n.wav", np.random.default_rng(0).normal(0, 0.05, 66150), tones.RATE)
    for name, told in (("n.wav", "none of the open strings"), ("no.wav", "no such file")):
        result = run(tmp_path / name)
        assert (result.exit_code, result.stdout) == (1, "")
        (line,) = result.stderr.splitlines()
        assert line.startswith("skeleton: ")
        assert told in line


def test_the_take_is_never_overwritten(strings) -> None:
    before = strings.read_bytes()
    assert run(strings, "-o", strings).exit_code == 1
    assert strings.read_bytes() == before


@pytest.mark.parametrize(
    "option",
    [
        ("--a4", "50"),
        ("--tolerance", "0"),
        ("--until", "-1"),
        ("--instrument", "kazoo"),
        ("--instrument", "A3 A3"),
    ],
)
def test_usage_is_2(strings, option) -> None:
    assert run(strings, *option).exit_code == 2
