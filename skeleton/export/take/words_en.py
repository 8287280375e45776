"""English: the words of a take."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from skeleton.export.handout.words_en import PAGE as HANDOUT_PAGE
from skeleton.export.marking.listen_marks import LEGEND
from skeleton.export.take.words import TakePhrases

SAY: Final = TakePhrases(
    heard=("{number} note of {of} heard", "{number} notes of {of} heard"),
    restarts=("{number} restart", "{number} restarts"),
    wrong_notes=("{number} wrong note", "{number} wrong notes"),
    judged="{judged} judged: {fine} in tune, {off} off, {unsure} cannot be told",
    references={
        "given": "Judged against the open strings as given ({strings} Hz).",
        "beginning": "Judged against the open strings as played at the beginning ({strings} Hz).",
        "notes": "No open strings were heard: judged against the height of the take itself "
        "({strings} Hz).",
    },
    between_strings=", ",
    nothing_off="Nothing that was measured is surely off.",
    findings={
        "height": (
            "The whole take sits low, by {size} against your open strings; tune, then listen.",
            "The whole take sits high, by {size} against your open strings; tune, then listen.",
        ),
        "drift": (
            "The whole take creeps down, by {size} from beginning to end; come back to a string.",
            "The whole take creeps up, by {size} from beginning to end; come back to a string.",
        ),
        "string": (
            "{name} is low in {places}, by {size}: match it to open {string}. {where}",
            "{name} is high in {places}, by {size}: match it to open {string}. {where}",
        ),
        "lean": (
            (
                "{name} ({step}) is too close to {anchor} in {places}, by {size}: bring it farther "
                "from {anchor}. {where}"
            ),
            (
                "{name} ({step}) is too far from {anchor} in {places}, by {size}: bring it nearer "
                "to {anchor}. {where}"
            ),
        ),
        "return": (
            (
                "{name} ({step}) does not match its other returns: the step is {size} smaller "
                "here. {where}"
            ),
            (
                "{name} ({step}) does not match its other returns: the step is {size} larger here. "
                "{where}"
            ),
        ),
        "note": (
            "{name} is low in {places}, by {size}: play it higher. {where}",
            "{name} is high in {places}, by {size}: play it lower. {where}",
        ),
    },
    cents="{cents} cents",
    in_places=("{off} of {number} place", "{off} of {number} places"),
    place="measure {measure} beat {beat}",
    more_places=" and {more} more",
    verdicts={
        "flat": "low",
        "sharp": "high",
        "in tune": "in tune",
        "cannot tell": "cannot tell",
    },
    verdict_said="{says}, {away} ± {u} cents from {what}",
    its_target="its target",
    open_string="open {string}",
    its_place="its place {step} as you played that",
    not_judged="not judged ({reason})",
    unjudged={
        "nothing": "nothing of it could be heard",
        "elsewhere": "what sounds there is another pitch",
        "octave-above": "it sounds an octave higher",
        "octave-below": "it sounds an octave lower",
        "too-short": "too short to measure",
        "ringing": "the note before rings over it",
        "covered": "the other note of the double stop covers it",
        "unsure": "not surely found in the take",
    },
    unjudged_otherwise="not judged",
    note_head=("Bar, beat", "Note", "At", "Cents off", "±", "Verdict", "Match"),
    returns_head=("Match", "Note", "Heard", "Step, cents", "Spread", "Apart, in bar (by cents)"),
    none_apart="none",
    strings_head=("String", "Hz", "± cents", "From pure to the one below", "How known"),
    strings_known={
        "given": "as given",
        "beginning": "as played before the first note",
        "notes": "from the take's own notes",
    },
    string_not_heard="not heard: a pure fifth from its neighbour",
    how=(
        (
            "A note named like an open string is held against that string as tuned. An accidental "
            "a half step from its anchor is held against the anchor as you played it: what counts "
            "is the step. Any other note is held against its target in the chain of pure fifths."
        ),
        (
            "Cents off: above (+) or below (−) where the note should be; played more than once, "
            "all times together. ±: how sure that is, two standard errors. A note is in tune or "
            "off only where the measurement can carry it; else it cannot be told."
        ),
    ),
    whole="The take as a whole {said}.",
    whole_sits="sits {cents} ± {u} cents from the strings",
    whole_moves="moves by {cents} ± {u} cents from beginning to end",
    limits="May be off: {fixed} cents from an open string, {match} cents from the other returns of "
    "the same note.",
    care=(
        "Listen first, with the music in hand, and mark what you hear; then look here.",
        (
            "A short note, a note under another that rings on, and wide vibrato are measured less "
            "surely. Where ear and figures differ, listen once more; the figures may be wrong."
        ),
    ),
    notices={},
    span="{start} to {end}",
    tone="{hz} Hz from {time}",
    ring_told=(
        "Ringing open strings: of {number} playing of notes named like one, {told} could be told",
        "Ringing open strings: of {number} playings of notes named like one, {told} could be told",
    ),
    ring_rang="{times} made a string ring ({names})",
    ring_silent="{times} made none ring ({names})",
    ring_name="{name} {times} times",
    ring_others="why not the others: {why}",
    ring_more=", and more",
    ring_why={
        "open-string": "it may be the open string itself",
        "double-stop": "another note sounds with it",
        "not-measured": "the note itself was not measured",
        "no-string": "no open string should answer it",
        "too-short": "too little time to hear it",
        "masked": "the next note covers the string",
        "earlier": "the string may ring from an earlier note",
        "no-comparison": "too few other notes to know the room by",
        "hidden": "room or noise would hide it",
    },
    ring_method="(Heard in what sounds on after a note; best with a short rest after it. While the "
    "note sounds nothing can be told. A note a little off makes its string ring too, only weaker, "
    "so this is no verdict on its pitch. Tried out on computer-made takes only: trust your ear "
    "first.)",
    ear_head=("where", "note", "you said", "measured", ""),
    ear_says={"flat": "flat", "sharp": "sharp", "unsure": "unsure"},
    marked_etude="the etude with the marks of the take",
    marks_legend=LEGEND,
    curves_legend=(
        "line: where the note should be; shade: in tune; curve: what was heard",
        "ring: what was judged, its stroke how unsure that is; without a ring: not judged",
        "under it the mark as on the score; dashed: the lower notes of a chord; ×: another note",
    ),
    curve_alt=(
        "Pitch curve, {measures}, {span}: {off}; {number} note in tune.",
        "Pitch curve, {measures}, {span}: {off}; {number} notes in tune.",
    ),
    curve_off=("{name} low by {cents} cents", "{name} high by {cents} cents"),
    none_off="none surely off",
    marked_music="The etude with the marks",
    note_by_note="Note by note",
    listen="Listen",
    listen_steps=(
        "Play the take once through, the music before your eyes.",
        "Then go through it again. Tap a note: its moment is played, and you say how it was.",
        (
            "When you have marked all that you hear, compare. What was measured stays hidden until "
            "then."
        ),
    ),
    hint="Tap a note to hear its moment and to mark it. With the keyboard: arrow keys go from note "
    "to note, Enter plays; − is flat, + is sharp, ? is not sure, Delete takes a mark away.",
    go_on="Play on after a tapped note",
    player="The take: {take}",
    music="The etude",
    compared="Your ear and the measurement",
    on_music="In the music, yours: a ring, and an arrow over the staff. Measured: a square, and "
    "under the staff an arrow with cents; ? under the staff: measured, but cannot be told.",
    measured="What was measured",
    work_on="What to work on",
    rings="Strings that rang along",
    later="And later",
    judging="How it was judged",
    caution="Before you believe it",
    notes="All notes",
    curves="Pitch, moment by moment",
    play="Play it",
    play_time="Play time {number}",
    not_played="{note}, {place}: not found in the take.",
    plays="{note}, {place}: plays.",
    no_marks_sure="You have marked nothing. Show what was measured all the same?",
    locked="What was measured is shown now. Hide it to go on marking.",
    compare="Compare with the measurement",
    hide="Hide the measurement",
    shown="What was measured is shown. {counts}.",
    hidden="What was measured is hidden.",
    no_sound="This browser cannot play the sound of the take.",
    measured_as=", measured: {said}",
    left_alone="Not marked, and in tune: {notes}.",
    head=("Where", "Note", "You", "Measured"),
    nothing="nothing",
    not_measured="not measured",
    kinds={
        "wrong direction": (
            "Wrong direction",
            "You heard that it was off, but to the other side.",
        ),
        "missed": ("Missed", "Measured off; you let it pass."),
        "imagined": ("Imagined", "You marked it; it was measured in tune."),
        "agreed": ("Agreed", "Both say the same."),
        "open": ("Open", "You or the measurement cannot tell."),
    },
)


PAGE: Final = replace(
    HANDOUT_PAGE,
    take="Your marks",
    take_date="Date of these marks",
    new_take="New marks",
    drop_take="Delete these marks",
    drop_sure="Delete the marks of {date}?",
    said_mark="{note}, {place}: {says}. Marks: {marks}.",
    said_cleared="{note}, {place}: no mark. Marks: {marks}.",
    said_take="Marks of {date}: {marks}.",
    said_dropped="The marks of {date} are deleted.",
    said_loaded="New sets of marks read: {takes}, marks in them: {marks}.",
)
