"""English: the words of a handout."""

from __future__ import annotations

from typing import Final

from skeleton.export.handout.page_words import PagePhrases
from skeleton.export.handout.words import Phrases, Words
from skeleton.export.lists.words import RULES, pitch_text
from skeleton.intonation import cautions
from skeleton.theory.interval import Interval
from skeleton.theory.pitch import Pitch, PitchClass

PHRASES: Final = Phrases(
    name_line="Name",
    date_line="Date",
    by="{composer}",
    source="From {source}, as slurred there. Skeleton: {rule}, and the notes named like an open "
    "string.",
    strings="{instrument}, open strings {strings}, A4 = {a4} Hz",
    this_week="This week",
    steps=(
        "Tune, slowly, in the order below.",
        (
            "Passage by passage, play the bare skeleton against the drone. A boxed note matches "
            "its open string: wait until the string answers."
        ),
        "Add the small notes: anchor, accidental, anchor, and only then in time.",
        "Carry each lettered note through its octaves: it leans by the same amount everywhere.",
        (
            "Play the etude, record it, and listen with the listening sheet in hand. Your own "
            "marks come first, a tuner last."
        ),
    ),
    passage_head="Passage",
    measures_head="Measures",
    tempo_head="Tempo",
    stage_head="Play",
    goal_head="Goal",
    done_head="Done",
    stages={"bare": "bare skeleton", "neighbours": "with accidentals", "all": "as written"},
    tempo="{tempo} beats a minute",
    tune_first="Tune first",
    tune_note="One string at a time, until the two strings stand still against each other.",
    tune_reference="open {string} from a fork or tuner: {hz} Hz",
    tune_from="open {string} against open {neighbour}: {interval}, pure, {hz} Hz",
    passage="Passage {name}",
    measure="measure {first}",
    measures="measures {first} to {last}",
    drone="Drone: open {strings}.",
    no_drone="Without a drone: no open string is pure against these skeleton notes.",
    drone_served="{served} of {notes} skeleton notes are pure against it.",
    bare="Bare skeleton",
    neighbours="With its accidentals (small, slurred to what they are tuned from)",
    checklist="Checklist",
    fixed="Fixed: as the open string, in every octave",
    as_open="as open {string}",
    accidentals="Tune each from its skeleton note",
    note_head="Note",
    tune_head="Tune it",
    places_head="Measure (beats)",
    match_head="Match",
    twins="Not the same note: {names}.",
    nothing="Nothing to tune here.",
    matches="Notes that must match",
    matches_note="Every return of a note leans by the same amount, up or down an octave too. Tune "
    "the first, then carry it to the others.",
    no_matches="No accidental of this etude returns.",
    octaves_head="Octaves",
    lean_head="Leans",
    match_string="fixed: as the open string",
    like="like {pitch}",
    etude="The full etude",
    legend=(
        (
            "Black: skeleton. Grey: the other notes. Boxed letter: match that open string. Letter "
            "without a box: the same name, in passing."
        ),
        (
            "Ringed letter: its match. G−½: half step below G. G+1: whole step above G. "
            "=F+½: chromatic half step above F."
        ),
    ),
    legend_named="Other steps by name: G−m3, minor third below G; M major, P perfect, A augmented, "
    "d diminished.",
    listening="Listening sheet",
    listening_steps=(
        (
            "Record a take, then listen with this page in hand, before any tuner: once through, "
            "then passage by passage."
        ),
        (
            "Circle each note that sounds off. Over it write ↑ if it was sharp (too high), ↓ if it "
            "was flat (too low), ? if you are not sure."
        ),
        (
            "Write the date of each take below, and how many circles each passage has. Which notes "
            "come back every time?"
        ),
    ),
    take_head="Take, date:",
    targets="Targets and checks",
    targets_note="Tuner: cents above (+) or below (−) equal temperament of the same A4, as a tuner "
    "shows them. Listen first and look here when in doubt. Measured, a fixed note may be {fixed} "
    "cents off.",
    pure_note="Thirds and sixths with an open string are pure up to {cents} cents away from these "
    "targets. Take them pure only while that string sounds; in a melody keep the target.",
    target_head="From",
    tuner_head="Tuner",
    band_head="Step in cents",
    check_head="Check with an open string",
    exact="open {string}, exact",
    skeleton_note="skeleton note",
    cents_from="{cents}",
    cents_range="{cents} ({low} to {high})",
    check="{interval} {direction} {string}",
    care="Take care",
    picture="Engraved music, {what}, {measures}.",
    whole_etude="the etude without marks",
    footer="{title} · {source}",
    pages="page {page} of {total}",
)


def _pitch(pitch: Pitch) -> str:
    return pitch_text(pitch, signs=True)


def _name(name: PitchClass) -> str:
    return pitch_text(name, signs=True)


def _interval(interval: Interval) -> str:
    return interval.words


def _short_interval(interval: Interval) -> str:
    return interval.name


WORDS: Final = Words(
    code="en",
    phrases=PHRASES,
    decimal=".",
    conjunction="and",
    pitch=_pitch,
    name=_name,
    interval=_interval,
    short_interval=_short_interval,
    above="above",
    below="below",
    anchor="{interval} {direction} {pitch}",
    same_pitch="same pitch as {pitch}",
    no_anchor="no other skeleton note to tune it from",
    rules=RULES,
    instruments={"custom": "own strings"},
    cautions={one: one.text for one in cautions.UNDER_TARGETS},
)


PAGE: Final = PagePhrases(
    contents="Contents",
    show="Show",
    hear="To play with",
    drone_player="Drone: open {strings}",
    track_player="Track, {stage}, {tempo}",
    no_sound="This browser cannot play these sound files.",
    tap="Tap a note, or go from note to note with the arrow keys and press Enter: it says what it "
    "hangs on, and every place where it returns lights up.",
    tap_listening="Tap each note that sounded off and say how. With the keyboard: arrow keys go "
    "from note to note; − is flat, + is sharp, ? is not sure, Delete takes a mark away.",
    place="measure {measure}, beat {beat}",
    outside="Pale measures belong to other passages.",
    dark="On a dark screen the skeleton is white.",
    card="The note",
    card_string="Fixed",
    card_skeleton="Skeleton",
    card_tune="Tune it",
    card_or="Or from",
    card_step="Leans",
    card_match="Match",
    card_check="Check",
    card_tuner="Tuner, last",
    string_exact="open {string}, exact",
    string_up="open {string}, exact; octaves higher: {octaves}",
    string_down="open {string}, exact; octaves lower: {octaves}",
    by_slur="by the rule of this handout",
    by_name="named like an open string",
    by_lesson="your teacher's choice",
    step_cents="{step} cents",
    tuner_cents="{cents} cents",
    in_passing="neither skeleton nor accidental",
    match="{letter}: {pitches}, {places} places",
    show_match="Show {letter} in the music",
    next_place="Next place",
    close="Close",
    take="Take",
    take_option="{date}, marks: {marks}",
    take_date="Date of this take",
    new_take="New take",
    drop_take="Delete this take",
    drop_sure="Delete the take of {date} and its marks?",
    save="Save marks as a file",
    load="Read marks from a file",
    verdict="How was {note}?",
    flat="flat (too low)",
    sharp="sharp (too high)",
    unsure="not sure",
    none="no mark",
    marked="{note}, marked {says}",
    key_legend="Ring with ↓: flat. Dashed ring with ↑: sharp. Dotted ring with ?: not sure.",
    returning="Notes that come back",
    returning_note="Marked in more than one take:",
    nothing_returns="No note is marked in more than one take yet.",
    said_note="{note}, {place}. {facts}",
    said_mark="{note}, {place}: {says}. Marks in this take: {marks}.",
    said_cleared="{note}, {place}: no mark. Marks in this take: {marks}.",
    said_take="Take of {date}, marks: {marks}.",
    said_dropped="The take of {date} is deleted.",
    said_saved="Marks saved as {file}.",
    said_loaded="New takes read: {takes}, with marks: {marks}.",
    said_unknown="Marks left out, for notes that this etude does not have: {marks}.",
    said_not_marks="{file} holds no marks that this page can read. Nothing was changed.",
    said_other_etude="{file} holds marks for another etude, or another version of this one. "
    "Nothing was changed.",
    said_not_kept="This browser does not keep marks. Save them as a file before you close the "
    "page.",
)
