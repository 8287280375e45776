from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.errors import OptionError
from skeleton.theory.interval import Interval, between, interval_named
from skeleton.theory.pitch import make_pitch, parse_pitch
from skeleton.theory.tables import (
    DIASCHISMA,
    JUST,
    JUST_ALTERNATIVES,
    PYTHAGOREAN,
    PYTHAGOREAN_COMMA,
    SCHISMA,
    SYNTONIC_COMMA,
)
from skeleton.theory.tuning import (
    A4,
    SYSTEMS,
    cents,
    equal_cents,
    equal_factor,
    equal_hz,
    interval_cents,
    just_ratio,
    pythagorean_cents,
    pythagorean_factor,
    pythagorean_hz,
    pythagorean_ratio,
)

# Half a unit of the tables' last place, and a trifle for binary fractions.
ROUNDING_CENTS = 0.00051
ROUNDING_HZ = 0.00051

PITCHES = st.builds(make_pitch, st.sampled_from("CDEFGAB"), st.integers(-3, 3), st.integers(0, 9))


def pure(name):
    return pythagorean_ratio(interval_named(name))


def test_interval_table(table):
    alternatives = {(row.interval, row.ratio) for row in JUST_ALTERNATIVES}
    for row in table("interval_sizes.tsv", 57):
        interval, size = interval_named(row["interval"]), float(row["cents"])
        if row["system"] == "equal":
            assert equal_cents(interval) == size
            continue
        ratio = Fraction(row["ratio"])
        assert cents(ratio) == pytest.approx(size, abs=ROUNDING_CENTS)
        if row["system"] == "pythagorean":
            assert pythagorean_ratio(interval) == ratio, row
            assert PYTHAGOREAN[row["interval"]].ratio == ratio
        elif row["system"] == "just":
            # Where the source is "helmholtz-ellis" the ratio is cited from memory.
            assert just_ratio(interval) == ratio, row
        else:
            assert row["system"] == "just-other"
            assert (row["interval"], ratio) in alternatives


def test_every_row_of_the_package_table_is_checked_by_the_published_one(table):
    published = {(row["system"], row["interval"]) for row in table("interval_sizes.tsv", 57)} | {
        ("pythagorean", "P1"),
        ("just", "P1"),
    }
    rows = [*PYTHAGOREAN.values(), *JUST.values()]
    assert {(row.system, row.interval) for row in rows} <= published
    assert all(row.source for row in rows)
    assert len(rows) == 37


def test_computed_chain_of_fifths_is_the_table():
    assert {name: pure(name) for name in PYTHAGOREAN} == {
        name: row.ratio for name, row in PYTHAGOREAN.items()
    }


def test_exact_identities():
    # Rational arithmetic on the published ratios; tolerance zero.
    limma, apotome = pure("m2"), pure("A1")
    half, chroma = JUST["m2"].ratio, JUST["A1"].ratio
    small = next(row.ratio for row in JUST_ALTERNATIVES if row.interval == "A1")
    minor_tone = next(row.ratio for row in JUST_ALTERNATIVES if row.interval == "M2")
    assert limma * apotome == Fraction(9, 8)
    assert half * chroma == Fraction(9, 8)
    assert half * small == minor_tone == Fraction(10, 9)
    assert apotome / limma == PYTHAGOREAN_COMMA
    assert half / limma == SYNTONIC_COMMA
    assert apotome / chroma == SYNTONIC_COMMA
    assert chroma / small == SYNTONIC_COMMA
    assert PYTHAGOREAN_COMMA / SYNTONIC_COMMA == SCHISMA
    assert SYNTONIC_COMMA / DIASCHISMA == SCHISMA


@pytest.mark.parametrize("name", ["M3", "m3", "M6", "m6", "M7", "m2"])
def test_pythagorean_and_just_differ_by_one_syntonic_comma(name):
    ratio = pure(name) / JUST[name].ratio
    assert ratio in (SYNTONIC_COMMA, 1 / SYNTONIC_COMMA)


def test_augmented_fourth_and_diminished_fifth_swap_order_between_systems():
    assert pure("A4") > pure("d5")
    assert JUST["A4"].ratio < JUST["d5"].ratio


def test_comma_table(table):
    ours = {SYNTONIC_COMMA, PYTHAGOREAN_COMMA, SCHISMA, DIASCHISMA}
    rows = table("commas.tsv", 6)
    for row in rows:
        assert cents(Fraction(row["ratio"])) == pytest.approx(
            float(row["cents"]), abs=ROUNDING_CENTS
        )
    assert ours <= {Fraction(row["ratio"]) for row in rows}
    # Three pure major thirds fall short of the octave by one of them, four minor thirds pass it
    # by another (arithmetic).
    ratios = {Fraction(row["ratio"]) for row in rows}
    assert 2 / JUST["M3"].ratio ** 3 in ratios
    assert JUST["m3"].ratio ** 4 / 2 in ratios


def test_wolf_fifth_is_a_diminished_sixth():
    # 262144/177147, 678.495 cents (arithmetic): what is left of the octaves after eleven fifths.
    assert pure("d6") == Fraction(262144, 177147)
    assert cents(pure("d6")) == pytest.approx(678.495, abs=ROUNDING_CENTS)


def test_spelled_pitches_table(table):
    for row in table("pythagorean_pitches.tsv", 21):
        pitch = parse_pitch(row["pitch"])
        hz = pythagorean_hz(pitch)
        assert hz == pytest.approx(float(row["hz"]), abs=ROUNDING_HZ), row
        deviation = cents(hz / equal_hz(pitch))
        assert deviation == pytest.approx(float(row["cents"]), abs=ROUNDING_CENTS), row


LETTERS = {
    # Ratios to A4 of the naturals from C4 to B4 in the chain F-C-G-D-A-E-B (arithmetic).
    "C": Fraction(16, 27), "D": Fraction(2, 3), "E": Fraction(3, 4), "F": Fraction(64, 81),
    "G": Fraction(8, 9), "A": Fraction(1), "B": Fraction(9, 8),
}  # fmt: skip


@given(PITCHES)
def test_speller_formula(pitch):
    apotome = Fraction(2187, 2048)
    expected = LETTERS[pitch.step] * apotome**pitch.alter * Fraction(2) ** (pitch.octave - 4)
    assert pythagorean_factor(pitch) == expected


@given(PITCHES, PITCHES)
def test_sizes_follow_from_pitches(first, second):
    interval = between(first, second)
    ratio = pythagorean_factor(second) / pythagorean_factor(first)
    assert pythagorean_ratio(interval) == ratio
    assert pythagorean_cents(interval) == pytest.approx(cents(ratio), abs=1e-9)
    fifths = second.pitch_class.line_of_fifths - first.pitch_class.line_of_fifths
    # Line of fifths: cents are 701.955 for each place, octaves aside.
    rest = (cents(ratio) - fifths * cents(Fraction(3, 2))) % 1200
    assert min(rest, 1200 - rest) == pytest.approx(0, abs=1e-7)


def test_half_steps_round_the_open_strings_table(table):
    for row in table("half_steps.tsv", 16):
        ring, pitch = parse_pitch(row["ring"]), parse_pitch(row["pitch"])
        interval = between(ring, pitch)
        assert interval.is_half_step
        hz = pythagorean_hz(pitch)
        assert hz == pytest.approx(float(row["pythagorean_hz"]), abs=ROUNDING_HZ), row
        size = float(row["pythagorean_cents"])
        assert pythagorean_cents(interval) == pytest.approx(size, abs=ROUNDING_CENTS), row
        just_hz = pythagorean_hz(ring) * just_ratio(interval)
        assert just_hz == pytest.approx(float(row["just_hz"]), abs=ROUNDING_HZ), row
        tempered_hz = pythagorean_hz(ring) * 2 ** (equal_cents(interval) / 1200)
        assert tempered_hz == pytest.approx(float(row["equal_step_hz"]), abs=ROUNDING_HZ), row


@pytest.mark.parametrize(
    ("letter", "anchor", "hz"),
    # Octave matches at A4 = 440 Hz, each a limma under its anchor in three octaves (arithmetic).
    [
        ("F#", "G", (371.250, 742.500, 1485.000)),
        ("C#", "D", (278.438, 556.875, 1113.750)),
        ("G#", "A", (417.656, 835.313, 1670.625)),
        ("D#", "E", (313.242, 626.484, 1252.969)),
    ],
)
def test_octave_matches(letter, anchor, hz):
    for octave, expected in zip((4, 5, 6), hz, strict=True):
        note, ring = parse_pitch(f"{letter}{octave}"), parse_pitch(f"{anchor}{octave}")
        assert pythagorean_hz(note) == pytest.approx(expected, abs=ROUNDING_HZ)
        assert pythagorean_factor(ring) / pythagorean_factor(note) == Fraction(256, 243)


def test_nearer_by_cents_is_the_neighbouring_letter():
    # F# is one key from F and from G; in the chain of fifths it is nearer to G, in just
    # intonation nearer to F.
    to_g, to_f = interval_named("m2"), interval_named("A1")
    assert pythagorean_cents(to_g) < pythagorean_cents(to_f)
    assert just_ratio(to_g) > just_ratio(to_f)


def test_just_sizes_add_octaves_and_turn_round():
    assert just_ratio(interval_named("m9")) == Fraction(32, 15)
    assert just_ratio(interval_named("M10")) == Fraction(5, 2)
    assert just_ratio(interval_named("A8")) == Fraction(135, 64)
    assert just_ratio(interval_named("d8")) == Fraction(256, 135)
    assert just_ratio(-interval_named("m2")) == Fraction(15, 16)
    assert just_ratio(-interval_named("M10")) == Fraction(2, 5)
    assert just_ratio(Interval(0, 0)) == 1
    assert just_ratio(Interval(0, -1)) == Fraction(128, 135)


@pytest.mark.parametrize("name", ["d3", "d7", "d2", "AA4", "dd5", "A6", "A3"])
def test_intervals_without_an_agreed_just_size_have_none(name):
    assert just_ratio(interval_named(name)) is None
    assert interval_cents(interval_named(name), "just") is None
    assert interval_cents(interval_named(name), "pythagorean") is not None


def test_every_system_sizes_a_fifth():
    sizes = [interval_cents(interval_named("P5"), system) for system in SYSTEMS]
    assert sizes == pytest.approx([701.955, 701.955, 700.0], abs=ROUNDING_CENTS)


def test_microtones():
    quarter = between(parse_pitch("F4"), parse_pitch("F(+1/2)4"))
    assert pythagorean_cents(quarter) == pytest.approx(cents(Fraction(2187, 2048)) / 2, abs=1e-9)
    assert equal_cents(quarter) == 50.0
    assert just_ratio(quarter) is None
    low, mid, high = (pythagorean_hz(parse_pitch(name)) for name in ("F4", "F(+1/2)4", "F#4"))
    assert mid == pytest.approx((low * high) ** 0.5, rel=1e-12)
    with pytest.raises(OptionError, match="no exact Pythagorean ratio"):
        pythagorean_ratio(quarter)


def test_equal_factor_is_a_root_of_two():
    assert equal_factor(A4) == 1.0
    assert equal_factor(parse_pitch("A5")) == 2.0
    assert equal_factor(parse_pitch("A#4")) ** 12 == pytest.approx(2.0, rel=1e-13)
    assert equal_factor(parse_pitch("A#4")) == equal_factor(parse_pitch("Bb4"))


def test_octaves_are_exactly_1200_cents():
    assert [cents(Fraction(2) ** n) for n in range(-3, 4)] == [1200.0 * n for n in range(-3, 4)]


@pytest.mark.parametrize("ratio", [0.0, -1.0, Fraction(0), Fraction(-3, 2), float("nan")])
def test_no_ratio_is_refused(ratio):
    with pytest.raises(OptionError, match="is no frequency ratio"):
        cents(ratio)


@pytest.mark.parametrize(
    ("a4_hz", "expected_cents"),
    # Other A4 against 440 Hz: 1200 log2(a4/440) (arithmetic).
    [
        (392, -199.980), (430, -39.800), (432, -31.767), (435, -19.786), (441, 3.930),
        (444, 15.667), (466, 99.392),
    ],
)  # fmt: skip
def test_other_pitches_of_a4(a4_hz, expected_cents):
    assert cents(pythagorean_hz(A4, a4_hz) / 440) == pytest.approx(
        expected_cents, abs=ROUNDING_CENTS
    )


@pytest.mark.parametrize(
    ("string", "note", "interval", "hz", "chain_hz"),
    # Notes pure against one open string, a syntonic comma from the chain (arithmetic).
    [
        ("G3", "E4", "M6", 325.926, 330.000),
        ("G3", "B3", "M3", 244.444, 247.500),
        ("D4", "B4", "M6", 488.889, 495.000),
        ("A4", "C4", "-M6", 264.000, 260.741),
        ("A4", "C5", "m3", 528.000, 521.481),
        ("D4", "F4", "m3", 352.000, 347.654),
        ("D4", "F#4", "M3", 366.667, 371.250),
        ("A4", "C#5", "M3", 550.000, 556.875),
        ("E5", "G#5", "M3", 825.000, 835.313),
        ("D4", "Bb4", "m6", 469.333, 463.539),
        ("D4", "Eb4", "m2", 312.889, 309.026),
    ],
)
def test_comma_conflicts(string, note, interval, hz, chain_hz):
    step = interval_named(interval.removeprefix("-"))
    step = -step if interval.startswith("-") else step
    assert between(parse_pitch(string), parse_pitch(note)) == step
    just = pythagorean_factor(parse_pitch(string)) * just_ratio(step)
    chain = pythagorean_factor(parse_pitch(note))
    assert float(440 * just) == pytest.approx(hz, abs=ROUNDING_HZ)
    assert float(440 * chain) == pytest.approx(chain_hz, abs=ROUNDING_HZ)
    assert just / chain in (SYNTONIC_COMMA, 1 / SYNTONIC_COMMA)
