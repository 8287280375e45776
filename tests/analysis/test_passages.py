"""Where the rule cuts a score, and how it names what it gets."""

import pytest

from skeleton.analysis.analyse import analyse

BAR = "C5 D5 E5 F5"
DOUBLE = '<barline location="right"><bar-style>light-light</bar-style></barline>'
REPEAT = '<barline location="right"><repeat direction="backward"/></barline>'
FORWARD = '<barline location="left"><repeat direction="forward"/></barline>'
ENDING = '<barline location="right"><ending number="1" type="stop"/></barline>'
FERMATA = '<barline location="right"><fermata/></barline>'


def mark(text):
    return f"<direction><direction-type><rehearsal>{text}</rehearsal></direction-type></direction>"


def found(score, **options):
    """Passages as ``name first-last`` by printed number."""
    return [
        f"{p.name} {p.first_measure}-{p.last_measure}" for p in analyse(score, **options).passages
    ]


def bars(count, **changes):
    """So many plain measures, some replaced: ``m3="..."`` is the third."""
    return " | ".join(changes.get(f"m{n}", BAR) for n in range(1, count + 1))


def test_a_short_score_is_one_passage(music):
    assert found(music(bars(8))) == ["A 1-8"]


@pytest.mark.parametrize(
    "options",
    [
        {"ends": {2: DOUBLE}},
        {"ends": {2: REPEAT}},
        {"starts": {3: FORWARD}},
        {"ends": {2: ENDING}},
        {"starts": {3: "<attributes><key><fifths>1</fifths></key></attributes>"}},
        {
            "starts": {
                3: "<attributes><time><beats>2</beats><beat-type>2</beat-type></time></attributes>"
            }
        },
    ],
)
def test_hard_cuts(music, options):
    assert found(music(bars(6), **options)) == ["A 1-3", "B 4-6"]


def test_a_restated_key_and_the_final_barline_cut_nothing(music):
    same = "<attributes><key><fifths>0</fifths></key></attributes>"
    final = DOUBLE.replace("light-light", "light-heavy")
    assert found(music(bars(6), starts={3: same}, ends={5: final})) == ["A 1-6"]


def test_a_key_for_all_staves_ends_those_for_one(music):
    keys = {2: '<key number="1"><fifths>2</fifths></key>', 4: "<key><fifths>0</fifths></key>"}
    keys[6] = '<key number="1"><fifths>0</fifths></key>'
    starts = {place: f"<attributes>{key}</attributes>" for place, key in keys.items()}
    assert found(music(bars(8), starts=starts)) == ["A 1-2", "B 3-4", "C 5-8"]


def test_a_hard_cut_goes_through_slurs_and_leaves_single_measures(music):
    score = music(bars(4, m1="C5 C5 C5 (C5", m2="B4) C5 C5 C5"), ends={0: DOUBLE})
    assert found(score) == ["A 1-1", "B 2-4"]


def test_a_pickup_belongs_to_what_follows(music):
    score = music(f"C5 | {bars(5)}", pickup=True, ends={0: DOUBLE})
    assert found(score) == ["A 0-5"]
    marked = music(f"C5 | {bars(5)}", pickup=True, starts={1: mark("Theme"), 3: mark("X")})
    assert found(marked) == ["Theme 0-2", "X 3-5"]
    # It does not count as a measure: eight and a pickup are not too long.
    assert found(music(f"C5 | {bars(8)}", pickup=True)) == ["A 0-8"]


@pytest.mark.parametrize(
    ("measure", "text", "expected"),
    [
        (3, "C5 D5 E5 F5^", ["A 1-3", "B 4-6"]),
        # A rest of a beat: at the barline it touches, else at the nearer, else at the later.
        (3, "C5 D5 E5 r", ["A 1-3", "B 4-6"]),
        (3, "r D5 E5 F5", ["A 1-2", "B 3-6"]),
        (3, "C5 r E5 F5", ["A 1-2", "B 3-6"]),
        (3, "C5:3/2 r E5:3/2", ["A 1-3", "B 4-6"]),
        (3, "C5 D5 E5 F5:1/2 r:1/2", ["A 1-6"]),
        (3, "r:4", ["A 1-3", "B 4-6"]),
        # Never a passage of one measure.
        (1, "C5 D5 E5 F5^", ["A 1-6"]),
        (5, "C5 D5 E5 F5^", ["A 1-6"]),
        (6, "C5 D5 E5 F5^", ["A 1-6"]),
    ],
)
def test_soft_cuts(music, measure, text, expected):
    assert found(music(bars(6, **{f"m{measure}": text}))) == expected


def test_a_fermata_on_the_barline(music):
    assert found(music(bars(6), ends={2: FERMATA})) == ["A 1-3", "B 4-6"]


def test_soft_cuts_go_through_no_slur_and_no_tie(music):
    slur = bars(6, m3="C5 D5 E5 (F5^", m4="C5) D5 E5 F5")
    tie = bars(6, m3="C5 D5 E5 F5~^", m4="~F5 D5 E5 F5")
    assert found(music(slur)) == ["A 1-6"]
    assert found(music(tie)) == ["A 1-6"]


def test_a_beat_of_a_compound_metre_is_three_units(music):
    bar = "C5:3/2 D5:3/2"
    short = " | ".join([bar, bar, "C5:3/2 D5:1/2 r", bar, bar])
    long = " | ".join([bar, bar, "C5:3/2 r:3/2", bar, bar])
    assert found(music(short, time="6/8")) == ["A 1-5"]
    assert found(music(long, time="6/8")) == ["A 1-3", "B 4-5"]


def test_a_rest_is_one_where_all_parts_and_voices_are_silent(music):
    upper, lower = bars(6, m3="C5 D5 E5 r"), bars(6)
    assert found(music([upper, lower])) == ["A 1-6"]
    two = music.score(music.part(upper), music.part(lower, name="Viola"))
    assert found(two) == ["A 1-6"]
    assert found(two, part="P1") == ["A 1-3", "B 4-6"]


@pytest.mark.parametrize(
    ("count", "expected"),
    [
        (9, "1-4 5-9"),
        (10, "1-4 5-10"),
        (11, "1-4 5-8 9-11"),
        (12, "1-4 5-8 9-12"),
        (16, "1-4 5-8 9-12 13-16"),
        (18, "1-4 5-8 9-12 13-18"),
    ],
)
def test_long_stretches(music, count, expected):
    assert [p.split()[1] for p in found(music(bars(count)))] == expected.split()


def test_long_stretches_give_way_to_slurs_and_ties(music):
    slur = bars(9, m4="C5 C5 C5 (C5", m5="B4) C5 C5 C5")
    assert found(music(slur)) == ["A 1-5", "B 6-9"]
    both = bars(9, m4="C5 C5 C5 (C5", m5="B4) C5 C5 C5~", m6="~C5 C5 C5 C5")
    assert found(music(both)) == ["A 1-3", "B 4-9"]
    one = bars(9, m1="(C5 C5 C5 C5", m9="C5 C5 C5 C5)")
    assert found(music(one)) == ["A 1-9"]


def test_rehearsal_marks_give_names(music):
    starts = {2: mark("B"), 12: mark("C"), 14: mark("B"), 16: mark(" slow  down ")}
    assert found(music(bars(20), starts=starts)) == [
        "Opening 1-2",
        "B 3-6",
        "B-2 7-12",
        "C 13-14",
        "B-3 15-16",
        "slow down 17-20",
    ]


def test_names_are_unique_whatever_the_marks_say(music):
    starts = {2: mark("B"), 4: mark("B-2"), 6: mark("B"), 8: mark("Opening")}
    names = [p.split(" ")[0] for p in found(music(bars(10), starts=starts))]
    assert names == ["Opening-2", "B", "B-2", "B-3", "Opening"]


def test_names_go_on_after_z(music):
    score = music(bars(30), ends=dict.fromkeys(range(30), DOUBLE))
    names = [p.split()[0] for p in found(score)]
    assert (names[0], names[25], names[26], names[29]) == ("A", "Z", "AA", "AD")


def test_every_measure_is_in_one_passage(music):
    score = music(bars(23, m5="C5 r r E5", m9="r:4", m14="C5 D5 E5 F5^"), ends={6: DOUBLE})
    passages = analyse(score).passages
    covered = [m for p in passages for m in range(p.first_index, p.last_index + 1)]
    assert covered == list(range(23))
