from fractions import Fraction
from itertools import combinations, pairwise

import pytest

from skeleton.errors import OptionError
from skeleton.theory.instrument import (
    INSTRUMENTS,
    custom,
    from_part_name,
    from_range,
    instrument,
    open_string_factors,
    open_string_hz,
    string_named,
)
from skeleton.theory.interval import between
from skeleton.theory.pitch import parse_pitch, parse_pitch_class
from skeleton.theory.tables import SYNTONIC_COMMA
from skeleton.theory.tuning import cents, just_ratio, pythagorean_factor, pythagorean_hz

ROUNDING_CENTS = 0.00051
ROUNDING_HZ = 0.00051

VIOLIN = INSTRUMENTS["violin"]


def pitches(text):
    return [parse_pitch(name) for name in text.split()]


@pytest.mark.parametrize(
    ("name", "strings"),
    # Standard tunings (common practice, no source).
    [
        ("violin", "G3 D4 A4 E5"),
        ("viola", "C3 G3 D4 A4"),
        ("cello", "C2 G2 D3 A3"),
        ("double bass", "E1 A1 D2 G2"),
    ],
)
def test_open_strings_by_name(name, strings):
    assert list(INSTRUMENTS[name].open_strings) == pitches(strings)
    assert INSTRUMENTS[name].name == name


def test_open_strings_table(table):
    for row in table("open_strings.tsv", 4):
        a4_hz = float(row["a4_hz"])
        hz = open_string_hz(VIOLIN, a4_hz)
        printed = [float(row[key]) for key in ("g3_hz", "d4_hz", "a4_again_hz", "e5_hz")]
        assert hz == pytest.approx(printed, abs=ROUNDING_HZ), row
        exact = [Fraction(row["a4_hz"]) * factor for factor in open_string_factors(VIOLIN)]
        assert exact[0] == Fraction(row["g3_exact"])
        assert exact[1] == Fraction(row["d4_exact"])
        # Equal temperament at 440 Hz: G3, D4, A4 and E5 are MIDI notes 55, 62, 69 and 76.
        equal = [440 * 2 ** ((number - 69) / 12) for number in (55, 62, 69, 76)]
        above = [cents(one / other) for one, other in zip(hz, equal, strict=True)]
        printed = [float(row[key]) for key in ("g_cents", "d_cents", "a_cents", "e_cents")]
        assert above == pytest.approx(printed, abs=ROUNDING_CENTS), row


@pytest.mark.parametrize("name", ["violin", "viola", "cello"])
def test_neighbouring_strings_are_pure_fifths(name):
    factors = open_string_factors(INSTRUMENTS[name])
    assert [high / low for low, high in pairwise(factors)] == [Fraction(3, 2)] * 3


def test_bass_strings_are_pure_fourths():
    factors = open_string_factors(INSTRUMENTS["double bass"])
    assert [high / low for low, high in pairwise(factors)] == [Fraction(4, 3)] * 3


@pytest.mark.parametrize("name", list(INSTRUMENTS))
def test_the_a_string_is_whole_octaves_from_a4(name):
    found = INSTRUMENTS[name]
    place = [string.step for string in found.open_strings].index("A")
    assert open_string_factors(found)[place] == Fraction(2) ** (
        found.open_strings[place].octave - 4
    )


def test_ring_notes_are_exact_powers_of_two(table):
    for row in table("ring_notes.tsv", 16):
        note = parse_pitch(row["pitch"])
        assert pythagorean_hz(note) == pytest.approx(float(row["hz"]), abs=ROUNDING_HZ)
        string = string_named(VIOLIN, note)
        ratio = pythagorean_factor(note) / pythagorean_factor(string)
        # Tolerance zero: a power of two has a single bit set, above or below the line.
        assert 1 in (ratio.numerator, ratio.denominator)
        assert (ratio.numerator * ratio.denominator).bit_count() == 1
        equal = 440 * 2 ** ((int(note.midi) - 69) / 12)
        assert cents(pythagorean_hz(note) / equal) == pytest.approx(
            float(row["cents"]), abs=ROUNDING_CENTS
        )


def test_among_the_open_strings_only_g_and_e_conflict():
    conflicts = []
    for low, high in combinations(VIOLIN.open_strings, 2):
        interval = between(low, high)
        chain = pythagorean_factor(high) / pythagorean_factor(low)
        if chain != just_ratio(interval):
            # M13 is a major sixth and an octave.
            conflicts.append((str(low), str(high), chain / just_ratio(interval)))
    assert conflicts == [("G3", "E5", SYNTONIC_COMMA)]
    # Open G with E4 in the chain: a sixth that beats at 3 E - 5 G = 12.222 Hz (arithmetic).
    beats_hz = 3 * pythagorean_hz(parse_pitch("E4")) - 5 * pythagorean_hz(parse_pitch("G3"))
    assert beats_hz == pytest.approx(12.222, abs=0.0006)


@pytest.mark.parametrize(
    ("name", "expected"),
    # Names and abbreviations of the trade in four languages (common practice, no source).
    [
        ("Violin", "violin"), ("VIOLIN", "violin"), ("Violino I", "violin"), ("Vln.", "violin"),
        ("Vln. 2", "violin"), ("Violin1", "violin"), ("Vl. II", "violin"), ("Geige", "violin"),
        ("1. Geige", "violin"), ("Violon 2", "violin"), ("2nd Violin", "violin"),
        ("Violin (solo)", "violin"), ("Solo Violin", "violin"), ("Fiddle", "violin"),
        ("Violini", "violin"), ("Violin\nI", "violin"), ("V.no I", "violin"),
        ("Viola", "viola"), ("Bratsche", "viola"), ("Br.", "viola"), ("Vla.", "viola"),
        ("V.la", "viola"), ("Va.", "viola"), ("Violas", "viola"), ("Alto à cordes", "viola"),
        ("Violoncello", "cello"), ("'Cello", "cello"), ("Vc.", "cello"), ("Violoncelle", "cello"),
        ("Violoncelli", "cello"), ("Vcl. 1", "cello"), ("V.C.", "cello"), ("Cello II", "cello"),
        ("Double Bass", "double bass"), ("Kontrabass", "double bass"),
        ("Kontrabaß", "double bass"), ("Kontrabässe", "double bass"),
        ("Contrebasse", "double bass"), ("Contrabbasso", "double bass"), ("Cb.", "double bass"),
        ("C. B.", "double bass"), ("D.B.", "double bass"), ("Kb.", "double bass"),
        ("String Bass", "double bass"), ("Contrabass", "double bass"),
    ],
)  # fmt: skip
def test_part_names(name, expected):
    found = from_part_name(name)
    assert found is not None
    assert found.name == expected
    assert instrument(name) is found


@pytest.mark.parametrize(
    "name",
    [
        None, "", "  ", "1", "I", "Solo", "Viola da gamba", "Viola d'amore", "Violino piccolo",
        "Violoncello piccolo", "Viole", "Violen", "Alto", "Alto Saxophone", "Bass", "Basso",
        "Bass Guitar", "Contrabass Clarinet", "Violone", "Violin and Piano", "Violin/Viola",
        "Violin & Cello", "5-string violin", "Violin in A", "Piano", "Voice", "Violinist", "V.",
        "Viol.", "Music", "MusicXML Part",
    ],
)  # fmt: skip
def test_names_that_say_no_instrument(name):
    assert from_part_name(name) is None


def test_unknown_instrument_is_refused_with_what_to_write():
    with pytest.raises(OptionError, match="no instrument 'kazoo' here; use one of violin, viola"):
        instrument("kazoo")


@pytest.mark.parametrize(
    ("lowest", "highest", "expected"),
    [
        ("G3", "E6", None),
        ("A3", "A5", None),
        ("F#3", "E5", "viola"),
        ("C3", "E7", "viola"),
        ("C3", "F7", None),
        ("B#2", "E5", "viola"),
        ("B2", "A4", "cello"),
        ("C2", "E6", "cello"),
        ("C2", "F6", None),
        ("B1", "G3", "double bass"),
        ("E1", "D5", "double bass"),
        ("E1", "E5", None),
        ("Eb1", "G3", None),
        ("A0", "C8", None),
    ],
)
def test_range(lowest, highest, expected):
    found = from_range(parse_pitch(lowest), parse_pitch(highest))
    assert (found and found.name) == expected


def test_scordatura_is_pythagorean_from_a4():
    # A E A E: the strings are named, not tuned by fifths; the lower E is a fourth under A.
    found = custom(pitches("A3 E4 A4 E5"), "crossed")
    assert open_string_factors(found) == (
        Fraction(1, 2), Fraction(3, 4), Fraction(1), Fraction(3, 2),
    )  # fmt: skip
    # No A string at all: F, C, G, D lie three, two, one and no fifths under D.
    low = custom(pitches("F3 C4 G4 D5"))
    assert open_string_factors(low)[-1] == Fraction(4, 3)
    assert [b / a for a, b in pairwise(open_string_factors(low))] == [Fraction(3, 2)] * 3


def test_custom_strings_are_put_low_to_high():
    found = custom(pitches("E5 G3 A4 D4"))
    assert found.open_strings == VIOLIN.open_strings
    assert found.open_classes == VIOLIN.open_classes


@pytest.mark.parametrize(
    ("strings", "match"),
    [
        ("", "at least one open string"),
        ("G3 D4 D4 E5", "D4 is listed twice"),
        ("G(+1/2)3", "is a microtone"),
    ],
)
def test_custom_strings_that_cannot_be(strings, match):
    with pytest.raises(OptionError, match=match):
        custom(pitches(strings))


@pytest.mark.parametrize(
    ("note", "string"),
    [
        ("G5", "G3"),
        ("E4", "E5"),
        ("A4", "A4"),
        ("Fx4", None),
        ("F#4", None),
        ("Fb5", None),
        ("C4", None),
        ("G(+1/2)4", None),
    ],
)
def test_strings_are_named_by_spelling(note, string):
    found = string_named(VIOLIN, parse_pitch(note))
    assert (found and str(found)) == string


@pytest.mark.parametrize(
    ("note", "string"), [("A3", "A3"), ("A5", "A4"), ("E3", "E4"), ("E6", "E5"), ("A1", "A3")]
)
def test_of_two_strings_with_one_name_the_nearest(note, string):
    found = custom(pitches("A3 E4 A4 E5"))
    assert str(string_named(found, parse_pitch(note))) == string


def test_of_two_equally_near_strings_the_lower():
    assert str(string_named(custom(pitches("A3 A5")), parse_pitch("A4"))) == "A3"


def test_open_classes():
    assert VIOLIN.open_classes == {parse_pitch_class(name) for name in "GDAE"}
