"""Holds what was heard in a made performance against what was played in it."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from skeleton.listening.listen import listen
from skeleton.listening.report import TakeReport
from skeleton.listening.verdict import verdict
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz

RESTART_WITHIN_S: Final = 0.8
SKIP_WITHIN_S: Final = 1.0
COVERED: Final = 0.6
"""A wrong note counts as taken for a right one where a judged note covers this share of it."""

PLAYED: Final = 0.35
"""A judged note of which less was played by anybody, in time, is none."""

STRINGS_HZ = open_string_hz(INSTRUMENTS["violin"])


@dataclass
class Score:
    """Counts over performances; lists hold one entry for each note or performance."""

    notes: int = 0
    right: int = 0
    right_pitch: int = 0
    unclear: int = 0
    by_take: list = field(default_factory=list)
    restarts: int = 0
    restarts_found: int = 0
    restarts_alike: int = 0
    restarts_alike_found: int = 0
    false_jumps: int = 0
    wrong: int = 0
    wrong_accepted: int = 0
    wrong_named: int = 0
    wrong_alike: int = 0
    wrong_alike_accepted: int = 0
    called_wrong: int = 0
    skipped: int = 0
    skipped_found: int = 0
    skipped_said: int = 0
    skipped_found_alike: int = 0
    measured: list = field(default_factory=list)
    not_measured: int = 0
    judged: int = 0
    judged_unplayed: int = 0
    seconds: float = 0.0
    compute_s: float = 0.0


@dataclass(frozen=True)
class Measurement:
    """One note: true deviation, measured one, standard error, verdict, length, vibrato cycles."""

    take: int
    pitch_hz: float
    true_cents: float
    cents: float
    se_cents: float
    verdict: str
    length_s: float
    cycles: float
    onset_s: float


def heard(made, analysis, sound, **how) -> tuple[TakeReport, float]:
    """Listen to a made take, with the strings given; return the report and the time it took."""
    begin = time.process_time()
    report = listen(analysis, sound, made.RATE, strings_hz=STRINGS_HZ, **how)
    return report, time.process_time() - begin


def score(report: TakeReport, played, tuning_cents: float, into: Score, take: int) -> None:
    """Add what came of one performance."""
    events = report.events
    aligned = report.alignment.played
    judged = {(one.heard[0].event, one.heard[0].attempt): one for one in report.attempts}
    starts = np.array([one.start_s for one in aligned])
    right = total = 0
    for number, one in enumerate(played):
        first = max(0, int(np.searchsorted(starts, one.start_s)) - 3)
        over = [
            (min(a.end_s, one.end_s) - max(a.start_s, one.start_s), a)
            for a in aligned[first : first + 8]
        ]
        most, best = max(over, key=lambda pair: pair[0], default=(0.0, None))
        best = best if most > 0 else None
        found = judged.get((best.event, best.attempt)) if best and best.kind == "note" else None
        if one.kind != "note":
            into.wrong += 1
            covered = most > COVERED * (one.end_s - one.start_s)
            accepted = bool(found and found.verdict is not None and covered)
            into.wrong_accepted += accepted
            alike = _like_a_neighbour(played, number, events)
            into.wrong_alike += alike
            into.wrong_alike_accepted += alike and accepted
            if best is not None and best.kind == "wrong" and best.heard_hz:
                into.wrong_named += abs(1200 * np.log2(best.heard_hz / one.hz)) < 60
            continue
        total += 1
        into.called_wrong += best is not None and best.kind == "wrong"
        if found is None:
            continue
        same = events[best.event].hz == events[one.event].hz
        right += best.event == one.event
        into.right_pitch += same
        into.unclear += best.event != one.event and bool(best.elsewhere)
        if not same:
            continue
        if found.verdict is None:
            into.not_measured += 1
            continue
        target = report.targets[events[best.event].notes[0]]
        note = found.heard[0]
        into.measured.append(
            Measurement(
                take,
                target.hz,
                one.cents + tuning_cents,
                1200 * np.log2(note.hz / target.hz),
                note.se_cents,
                _verdict(note, target),
                one.end_s - one.start_s,
                one.cycles,
                note.start_s - one.start_s,
            )
        )
    into.notes += total
    into.right += right
    into.by_take.append(right / total)
    _jumps(report, played, into)
    _skips(report, played, into)
    _unplayed(report, played, into)


def _verdict(note, target) -> str:
    return verdict(1200 * np.log2(note.hz / target.hz), 2 * note.se_cents, 5.0)


def _jumps(report, played, into: Score) -> None:
    said = [one.time_s for one in report.alignment.restarts]
    true = [number for number, one in enumerate(played) if one.restart]
    for number in true:
        found = any(abs(played[number].start_s - at) < RESTART_WITHIN_S for at in said)
        into.restarts += 1
        into.restarts_found += found
        alike = _like_going_on(played, number, report.events)
        into.restarts_alike += alike
        into.restarts_alike_found += alike and found
    times = [played[number].start_s for number in true]
    into.false_jumps += sum(all(abs(at - one) >= RESTART_WITHIN_S for one in times) for at in said)


def _skips(report, played, into: Score) -> None:
    true = []
    last = None
    for one in played:
        if one.event >= 0:
            if last is not None and not one.restart and one.event == last + 2:
                true.append((last + 1, one.start_s))
            last = one.event
        elif one.kind == "wrong" and last is not None:
            last += 1
    said = report.alignment.skipped
    hz = [event.hz for event in report.events]
    into.skipped_found_alike += sum(
        any(_same_run(hz, event, other) and abs(at - when) < SKIP_WITHIN_S for other, when in said)
        for event, at in true
    )
    into.skipped += len(true)
    into.skipped_said += len(said)
    into.skipped_found += sum(
        any(event == other and abs(at - when) < SKIP_WITHIN_S for other, when in said)
        for event, at in true
    )


def _unplayed(report, played, into: Score) -> None:
    """Count notes that were judged where nobody played: what a room keeps sounding, noise."""
    for one in report.attempts:
        if one.verdict is None:
            continue
        note = one.heard[0]
        over_s = max(min(note.end_s, p.end_s) - max(note.start_s, p.start_s) for p in played)
        into.judged += 1
        into.judged_unplayed += over_s < PLAYED * (note.end_s - note.start_s)


def _like_a_neighbour(played, number: int, events) -> bool:
    """Whether a wrong note sounds like one that stands near, which it then may be."""
    known = [one.event for one in played[max(0, number - 1) : number + 2] if one.event >= 0]
    near = {event + step for event in known for step in (-1, 0, 1, 2)}
    return any(
        abs(1200 * np.log2(played[number].hz / events[event].hz[0])) < 60
        for event in near
        if 0 <= event < len(events)
    )


def _like_going_on(played, number: int, events) -> bool:
    """Whether what was played after a stop sounds as if the player had simply gone on."""
    last = next((one.event for one in reversed(played[:number]) if one.event >= 0), -1)
    run = [played[number]]
    for one in played[number + 1 :]:
        if one.restart:
            break
        run.append(one)
    if any(one.event < 0 for one in run) or last + len(run) >= len(events):
        return False
    return all(events[one.event].hz == events[last + 1 + step].hz for step, one in enumerate(run))


def _same_run(hz, one: int, other: int) -> bool:
    """Whether two events are one, or stand in one run of equal notes."""
    low, high = min(one, other), max(one, other)
    return all(hz[place] == hz[low] for place in range(low, high + 1))
