"""The state of a bar. Rules: common practice, no source."""

import pytest

from skeleton.analysis.signs import Written, signs_needed


def needed(*notes: str, key: dict[str, int] | None = None) -> str:
    """Notes as ``bar staff pitch [t][s][h]``: "1 1 F#4 t"; the answer as a string of + and -."""
    from skeleton.theory.pitch import parse_pitch

    written = []
    for note in notes:
        bar, staff, text, *marks = note.split()
        pitch = parse_pitch(text)
        written.append(
            Written(
                int(bar),
                int(staff),
                pitch.step,
                pitch.octave,
                pitch.alter,
                (key or {}).get(pitch.step, 0),
                continues="t" in marks,
                signed="s" in marks,
                hidden="h" in marks,
            )
        )
    return "".join("+" if one else "-" for one in signs_needed(written))


@pytest.mark.parametrize(
    ("notes", "expected"),
    [
        (["1 1 F#4", "1 1 F#4", "1 1 F4", "1 1 F4"], "+-+-"),
        (["1 1 F#4", "2 1 F4"], "+-"),
        (["1 1 F#4", "1 1 F#5", "1 1 F5"], "+++"),
        (["1 1 F#4", "1 1 F5"], "+-"),
        (["1 1 F#4", "1 2 F4"], "+-"),
        (["1 1 F##4", "1 1 F#4", "1 1 Fb4"], "+++"),
        # A tie carries over the barline for its own note only.
        (["1 1 F#4", "2 1 F#4 t", "2 1 F#4"], "+-+"),
        (["1 1 F#4", "2 1 F#4 t", "2 1 F4"], "+--"),
        # ... unless the sign is printed again.
        (["1 1 F#4", "2 1 F#4 t s", "2 1 F4"], "+-+"),
        (["1 1 F#4", "1 1 F#4 t", "1 1 F4"], "+-+"),
        (["1 1 F#4 h", "1 1 F4"], "--"),
    ],
)
def test_state_of_the_bar(notes, expected):
    assert needed(*notes) == expected


def test_the_signature_is_the_state_at_the_barline():
    assert needed("1 1 F#4", "1 1 F4", "2 1 F#4", "2 1 F4", key={"F": 1}) == "-+-+"


def test_a_new_signature_inside_a_bar_becomes_the_state():
    plain = Written(1, 1, "F", 4, 0, 0)
    sharp, natural = Written(1, 1, "F", 4, 1, 1), Written(1, 1, "F", 4, 0, 1)
    assert signs_needed([plain, sharp, natural, sharp]) == [False, False, True, True]


def test_nothing_needs_nothing():
    assert signs_needed([]) == []
