from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from skeleton.audio.strings import OpenString
from skeleton.errors import OptionError
from skeleton.listening.tuning import tuning
from skeleton.theory.instrument import INSTRUMENTS, custom
from skeleton.theory.pitch import parse_pitch

VIOLIN = INSTRUMENTS["violin"]
TABLE_ROUNDING_CENTS = 0.005
"""Half a thousandth of a hertz on G3."""


def heard(*hz, instrument=VIOLIN, se_cents=0.2, moved_cents=0.0):
    return [
        OpenString(string, None, math.inf, 0.0, None, 0.0)
        if one is None
        else OpenString(string, one, se_cents, 2.0, 0.5, moved_cents)
        for string, one in zip(instrument.open_strings, hz, strict=True)
    ]


def verdicts(found):
    return [one.verdict for one in found.strings]


def test_pure_strings_are_in_tune_at_their_own_a4() -> None:
    """G = 4/9, D = 2/3, E = 3/2 of A: exact ratios of the chain of fifths."""
    for a4 in (415.0, 440.0, 442.0):
        found = tuning(heard(a4 * 4 / 9, a4 * 2 / 3, a4, a4 * 3 / 2), VIOLIN, a4)
        assert verdicts(found) == ["in tune"] * 4
        assert [one.verdict for one in found.pairs] == ["in tune"] * 3
        assert found.own_a4_hz == pytest.approx(a4)
        assert found.agrees_with_itself
        assert [one.deviation_cents for one in found.strings] == pytest.approx([0.0] * 4, abs=1e-9)


def test_strings_tuned_equal_lie_where_arithmetic_says() -> None:
    """Equal fifths are 700 of 701.955 cents: G, D, A, E at +3.910, +1.955, 0, -1.955 from pure."""
    equal = [440.0 * 2 ** (steps / 12) for steps in (-14, -7, 0, 7)]
    found = tuning(heard(*equal), VIOLIN)
    assert [one.deviation_cents for one in found.strings] == pytest.approx(
        [3.910, 1.955, 0.0, -1.955], abs=0.001
    )
    assert [one.size_cents for one in found.pairs] == pytest.approx([700.0] * 3)
    assert verdicts(found) == ["sharp", "in tune", "in tune", "in tune"]


def test_in_tune_with_itself_at_another_height() -> None:
    found = tuning(heard(442 * 4 / 9, 442 * 2 / 3, 442.0, 663.0), VIOLIN)
    assert verdicts(found) == ["sharp"] * 4
    assert found.agrees_with_itself
    assert [one.own_cents for one in found.strings] == pytest.approx([0.0] * 4, abs=1e-9)


def test_an_unsure_string_gets_no_verdict() -> None:
    found = tuning(heard(195.0, 293.3, 440.0, 660.0, se_cents=4.0), VIOLIN)
    assert verdicts(found) == ["cannot tell"] * 4
    assert found.pairs[0].u_cents == pytest.approx(2 * math.hypot(4, 4))


def test_a_string_not_heard_is_said_and_leaves_no_option() -> None:
    found = tuning(heard(None, 293.3, 440.0, 660.0), VIOLIN)
    assert verdicts(found) == ["not heard", "in tune", "in tune", "in tune"]
    assert [one.verdict for one in found.pairs] == ["not heard", "in tune", "in tune"]
    assert found.strings_hz is None
    assert not found.agrees_with_itself
    no_a = tuning(heard(195.6, 293.3, None, 660.0), VIOLIN)
    assert no_a.own_a4_hz is None
    assert no_a.strings[0].own_cents is None


def test_several_heights_far_apart_are_no_tuning() -> None:
    found = tuning(heard(195.6, 293.3, 440.0, 660.0, moved_cents=200.0), VIOLIN)
    assert verdicts(found) == ["cannot tell"] * 4
    assert found.strings_hz is None


@pytest.mark.parametrize(("name", "octaves"), [("cello", 1), ("double bass", 3), ("viola", 0)])
def test_the_a_string_of_other_instruments_gives_a4_by_whole_octaves(name, octaves) -> None:
    instrument = INSTRUMENTS[name]
    strings = {str(string): None for string in instrument.open_strings}
    a = next(text for text in strings if text.startswith("A"))
    hz = [441.0 / 2**octaves if str(one) == a else None for one in instrument.open_strings]
    assert tuning(heard(*hz, instrument=instrument), instrument).own_a4_hz == pytest.approx(441.0)


def test_published_frequencies_of_the_open_strings_are_in_tune() -> None:
    """tests/tables/open_strings.tsv, whose source stands in the file."""
    path = Path(__file__).parents[1] / "tables" / "open_strings.tsv"
    rows = [line for line in path.read_text("utf-8").splitlines() if not line.startswith("#")]
    table = list(csv.DictReader(rows, delimiter="\t"))
    assert len(table) >= 4
    for row in table:
        strings = [float(row[f"{name}_hz"]) for name in ("g3", "d4", "a4", "e5")]
        found = tuning(heard(*strings), VIOLIN, float(row["a4_hz"]))
        assert max(abs(one.deviation_cents) for one in found.strings) < TABLE_ROUNDING_CENTS
        own = tuning(heard(*strings), VIOLIN).strings
        assert own[2].deviation_cents == pytest.approx(float(row["a_cents"]), abs=0.001)


@pytest.mark.parametrize("tolerance", [0.0, -1.0, 80.0, math.nan])
def test_a_tolerance_that_makes_no_sense_is_refused(tolerance) -> None:
    with pytest.raises(OptionError, match="tolerance"):
        tuning(heard(195.6, 293.3, 440.0, 660.0), VIOLIN, 440.0, tolerance)


def test_strings_of_another_instrument_are_refused() -> None:
    other = custom([parse_pitch("A3"), parse_pitch("E4")])
    with pytest.raises(OptionError, match="strings"):
        tuning(heard(195.6, 293.3, 440.0, 660.0), other)
