"""The words of the page of a take that the page of the handout does not have.

Names in braces are filled in by the page itself, in the browser.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from skeleton.export.handout.page_words import page_words

PHRASES: Final = replace(
    page_words("en"),
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
"""What the page shares with that of a handout; there every take is another recording."""

LISTEN: Final = "Listen"
LISTEN_STEPS: Final = (
    "Play the take once through, the music before your eyes.",
    "Then go through it again. Tap a note: its moment is played, and you say how it was.",
    "When you have marked all that you hear, compare. What was measured stays hidden until then.",
)
HINT: Final = (
    "Tap a note to hear its moment and to mark it. With the keyboard: arrow keys go from note to "
    "note, Enter plays; − is flat, + is sharp, ? is not sure, Delete takes a mark away."
)
GO_ON: Final = "Play on after a tapped note"
PLAYER: Final = "The take: {take}"
NO_SOUND: Final = "This browser cannot play the sound of the take."
MUSIC: Final = "The etude"
COMPARE: Final = "Compare with the measurement"
HIDE: Final = "Hide the measurement"
COMPARED: Final = "Your ear and the measurement"
ON_MUSIC: Final = (
    "In the music, yours: a ring, and an arrow over the staff. Measured: a square, and under the "
    "staff an arrow with cents; ? under the staff: measured, but cannot be told."
)
MEASURED: Final = "What was measured"
WORK_ON: Final = "What to work on"
RINGS: Final = "Strings that rang along"
LATER: Final = "And later"
RETURNS: Final = "Notes that must match"
JUDGED: Final = "How it was judged"
CARE: Final = "Before you believe it"
NOTES: Final = "All notes"
CURVES: Final = "Pitch, moment by moment"

KINDS: Final = {
    "wrong direction": ("Wrong direction", "You heard that it was off, but to the other side."),
    "missed": ("Missed", "Measured off; you let it pass."),
    "imagined": ("Imagined", "You marked it; it was measured in tune."),
    "agreed": ("Agreed", "Both say the same."),
    "open": ("Open", "You or the measurement cannot tell."),
}
"""Heading and meaning of each outcome, in the order in which they are shown."""

SAY: Final[Mapping[str, Any]] = {
    "play": "Play it",
    "play_time": "Play time {number}",
    "not_played": "{note}, {place}: not found in the take.",
    "plays": "{note}, {place}: plays.",
    "no_marks_sure": "You have marked nothing. Show what was measured all the same?",
    "locked": "What was measured is shown now. Hide it to go on marking.",
    "compare": COMPARE,
    "hide": HIDE,
    "shown": "What was measured is shown. {counts}.",
    "hidden": "What was measured is hidden.",
    "no_sound": NO_SOUND,
    "measured_as": ", measured: {said}",
    "left_alone": "Not marked, and in tune: {notes}.",
    "head": ["Where", "Note", "You", "Measured"],
    "nothing": "nothing",
    "not_measured": "not measured",
    "kinds": KINDS,
}
"""Texts for the page's script."""
