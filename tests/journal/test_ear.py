"""What an ear hears: simulated listeners whose threshold and bias are known."""

from __future__ import annotations

import math
from random import Random

import pytest

from skeleton.journal.ear import Ear, asked_of, ear, judged, noticed_cents
from skeleton.journal.records import Heard

NOTES_A_DAY = 60


def listener(threshold_cents: dict[str, float], days: int, seed: int, better_by: float = 0.0):
    """Return notes heard by an ear that marks half of the errors of its threshold's size.

    The share grows with size as a logistic curve, a quarter of the threshold wide (a model).
    """
    chance = Random(seed)
    heard = []
    for day in range(days):
        for note in range(NOTES_A_DAY):
            deviation = chance.gauss(0, 20)
            way = "flat" if deviation < 0 else "sharp"
            threshold = threshold_cents[way] - better_by * day / max(1, days - 1)
            share = 1 / (1 + math.exp(-4 * (abs(deviation) / threshold - 1)))
            says = way if chance.random() < share else None
            heard.append(Heard(str(note), 1000 + day, deviation, 2.0, says))
    return heard


@pytest.mark.parametrize("threshold", [8.0, 15.0, 25.0])
def test_the_smallest_error_usually_noticed(threshold: float) -> None:
    tolerance_cents = 0.2 * threshold
    for seed in range(5):
        heard = listener({"flat": threshold, "sharp": threshold}, 10, seed)
        found = ear(heard)
        assert found.noticed_cents == pytest.approx(threshold, abs=tolerance_cents)
        assert found.against == 0
        assert found.agree > 0


def test_an_ear_that_gets_better() -> None:
    found = ear(listener({"flat": 25, "sharp": 25}, 20, 1, better_by=17))
    assert found.early_noticed_cents == pytest.approx(21, abs=4)
    assert found.late_noticed_cents == pytest.approx(12, abs=4)


def alone(found: Ear) -> Ear:
    """Return the ear as judged where nothing else is asked."""
    return judged(found, asked_of(found))


def test_an_ear_that_hears_flat_as_right() -> None:
    found = alone(ear(listener({"flat": 40, "sharp": 10}, 6, 2)))
    assert found.bias == "flat"
    assert found.flat_missed / found.flat_notes > found.sharp_missed / found.sharp_notes
    assert alone(ear(listener({"flat": 10, "sharp": 40}, 6, 2))).bias == "sharp"
    # As one of many questions, it asks for more.
    assert judged(found, [0.06]).bias is None


def test_an_ear_without_bias() -> None:
    said = [alone(ear(listener({"flat": 15, "sharp": 15}, 5, seed))).bias for seed in range(40)]
    # At the level of 5 per cent, 2 of 40 are to be expected; 7 or more come in 0.3 per cent
    # (binomial distribution).
    assert sum(one is not None for one in said) < 7


def test_too_little_is_not_told() -> None:
    few = listener({"flat": 10, "sharp": 10}, 1, 0)[:10]
    assert ear(few).noticed_cents is None
    assert ear([]).notes == 0
    deaf = [Heard("n", 1, 30.0, 1.0, None)] * 100
    assert noticed_cents(deaf) is None
    assert noticed_cents([Heard("n", 1, 30.0, 1.0, "flat")] * 100) is None


def test_marks_by_chance_have_no_threshold() -> None:
    chance = Random(1)
    heard = [
        Heard("n", 1, chance.gauss(0, 20), 1.0, chance.choice(["flat", None, None]))
        for _ in range(500)
    ]
    found = noticed_cents(heard)
    assert found is None or found > 40


def test_counts() -> None:
    heard = [
        Heard("a", 1, -20.0, 2.0, "flat"),
        Heard("b", 1, -20.0, 2.0, "sharp"),
        Heard("c", 1, 1.0, 2.0, "flat"),
        Heard("d", 1, 1.0, 2.0, "unsure"),
        Heard("e", 2, 20.0, 2.0, None),
    ]
    found = ear(heard)
    assert (found.notes, found.days, found.marked, found.unsure) == (5, 2, 3, 1)
    assert (found.agree, found.against, found.marked_in_tune) == (1, 1, 1)
    assert (found.sharp_missed, found.sharp_notes) == (1, 1)
    assert (found.flat_missed, found.flat_notes) == (0, 2)
    assert len(asked_of(found)) == 1


def test_what_cannot_be_uneven_is_not_asked() -> None:
    assert asked_of(ear([])) == ()
    unmarked = [Heard("a", 1, cents, 2.0, None) for cents in (-20.0, 20.0)]
    assert asked_of(ear(unmarked)) == ()
    assert judged(ear(unmarked), ()).bias is None
