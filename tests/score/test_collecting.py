"""The garbage collector rests while a score is read, and finds nothing to do afterwards."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest

from skeleton.score.collecting import no_collection


@pytest.fixture(autouse=True)
def collector() -> Iterator[None]:
    was_on = gc.isenabled()
    gc.enable()
    yield
    gc.unfreeze()
    if not was_on:
        gc.disable()


def test_it_rests_and_goes_on():
    with no_collection():
        assert not gc.isenabled()
    assert gc.isenabled()


def test_it_goes_on_after_an_error():
    with pytest.raises(ZeroDivisionError), no_collection():
        raise ZeroDivisionError
    assert gc.isenabled()


def test_what_was_off_stays_off():
    gc.disable()
    with no_collection():
        pass
    assert not gc.isenabled()


def test_it_does_not_look_through_what_was_made_meanwhile():
    began: list[str] = []

    def watch(phase: str, _info: object) -> None:
        began.append(phase)

    gc.collect()
    gc.callbacks.append(watch)
    try:
        with no_collection():
            made: list[list[object]] = [[] for _ in range(50 * gc.get_threshold()[0])]
        more: list[list[object]] = [[] for _ in range(10)]
    finally:
        gc.callbacks.remove(watch)
    assert len(made) > len(more)
    assert began == []


def test_rubbish_made_meanwhile_is_still_found():
    class Ring:
        pass

    with no_collection():
        ring = Ring()
        ring.itself = ring  # type: ignore[attr-defined]
        del ring
    assert any(isinstance(each, Ring) for each in gc.get_objects())
    gc.collect()
    assert not any(isinstance(each, Ring) for each in gc.get_objects())


def test_what_somebody_froze_stays_frozen():
    gc.freeze()
    frozen = gc.get_freeze_count()
    with no_collection():
        made = [[] for _ in range(10)]
    assert gc.get_freeze_count() > frozen / 2 > 0
    assert len(made) == 10
