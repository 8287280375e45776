"""Bowed string instruments: their open strings as data, and how a part's name tells them.

Open strings are *sounding* pitches, low to high. A double bass sounds an octave below its page;
turn written pitches into sounding ones before comparing them with these.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from skeleton.errors import OptionError
from skeleton.theory.interval import Interval, transpose
from skeleton.theory.pitch import Pitch, PitchClass, parse_pitch
from skeleton.theory.tuning import DEFAULT_A4_HZ, check_a4_hz, pythagorean_factor


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument by name, with its open strings: sounding pitches, low to high."""

    name: str
    open_strings: tuple[Pitch, ...]

    @property
    def open_classes(self) -> frozenset[PitchClass]:
        """The pitch classes of the open strings, by spelling."""
        return frozenset(string.pitch_class for string in self.open_strings)


def _strings(text: str) -> tuple[Pitch, ...]:
    return tuple(parse_pitch(name) for name in text.split())


# Standard tunings: common practice, in any method book for the instrument.
INSTRUMENTS: Final[dict[str, Instrument]] = {
    "violin": Instrument("violin", _strings("G3 D4 A4 E5")),
    "viola": Instrument("viola", _strings("C3 G3 D4 A4")),
    "cello": Instrument("cello", _strings("C2 G2 D3 A3")),
    "double bass": Instrument("double bass", _strings("E1 A1 D2 G2")),
}
"""The violin family by name."""

# English, German, French and Italian names and abbreviations: common practice, no source.
# Left out on purpose because they name other things as well: alto (also a voice), bass and basso,
# viole (Italian violas, French viols), violen (German violas, Dutch violins), viol., violone,
# acoustic bass.
_NAMES: Final[dict[str, str]] = {
    alias: key
    for key, aliases in {
        "violin": (
            "violin", "violins", "fiddle", "violine", "violinen", "geige", "geigen",
            "violon", "violons", "violino", "violini", "vln", "vlns", "vl", "vn", "vno", "vni",
        ),
        "viola": (
            "viola", "violas", "bratsche", "bratschen", "alto a cordes",
            "vla", "vlas", "vle", "va", "br",
        ),
        "cello": (
            "cello", "cellos", "celli", "violoncello", "violoncellos", "violoncelli",
            "violoncelle", "violoncelles", "vc", "vcl", "vlc", "vcllo",
        ),
        "double bass": (
            "double bass", "double basses", "doublebass", "string bass", "upright bass",
            "contrabass", "contrabasses", "contrabas", "kontrabass", "kontrabasse", "bassgeige",
            "contrebasse", "contrebasses", "contrabbasso", "contrabbassi", "contrabasso",
            "contrabassi", "cb", "kb", "db",
        ),
    }.items()
    for alias in aliases
}  # fmt: skip

# Words that number or seat a player and leave the instrument what it is.
_SEATING: Final = frozenset(
    {
        "i", "ii", "iii", "iv", "v", "vi", "a", "b", "no", "nr",
        "solo", "soli", "tutti", "section", "part", "player", "desk", "principal",
        "student", "teacher",
        "first", "second", "third", "fourth", "1st", "2nd", "3rd", "4th",
        "erste", "zweite", "dritte", "vierte", "stimme",
        "premier", "premiere", "deuxieme", "seconde", "troisieme", "1er", "1re", "2e", "2me", "3e",
        "primo", "prima", "secondo", "seconda", "terzo", "terza", "quarto", "quarta",
    }
)  # fmt: skip

_CLEAR_REACH: Final = Interval(18, 31)
"""Two octaves and a fifth: how far above its top string an instrument is taken to play."""


def instrument(name: str) -> Instrument:
    """Return the instrument with a name in English, German, French or Italian.

    Raises:
        OptionError: no instrument of the table has this name.
    """
    found = from_part_name(name)
    if found is None:
        known = ", ".join(INSTRUMENTS)
        raise OptionError(
            f"no instrument {name!r} here; use one of {known}, or list the open strings"
        )
    return found


def from_part_name(name: str | None) -> Instrument | None:
    """Return the instrument that a part's printed name or abbreviation says, or None.

    Words that number or seat the player are dropped ("Violino I", "Vln. 2", "Solo Viola"); what
    is left must be a name of the table *as a whole*. So "Viola da gamba", "Viola d'amore",
    "Violino piccolo", "5-string violin", "Violin and Piano" and "Contrabass Clarinet" give None.
    "Bass" alone gives None (voice, guitar, tuba), and so does "Alto": it is the French viola, but
    far more often a voice, and a wrong instrument is worse than none. None means "not said".
    """
    if name is None:
        return None
    plain = unicodedata.normalize("NFKD", name.casefold())
    plain = "".join(char for char in plain if not unicodedata.combining(char))
    plain = re.sub(r"(?<=[a-z]{2})(?=\d)", " ", plain)
    plain = re.sub(r"\b([vcd])\.\s?(no|ni|la|le|b|c)\b", r"\1\2", plain)
    words = re.findall(r"[^\W_]+|[&+/]", plain)
    kept = " ".join(word for word in words if word not in _SEATING and not word.isdigit())
    # The whole name comes second because a seat word may be part of it: "alto a cordes".
    key = _NAMES.get(kept) or _NAMES.get(" ".join(words))
    return None if key is None else INSTRUMENTS[key]


def from_range(lowest: Pitch, highest: Pitch) -> Instrument | None:
    """Return the instrument that a part's sounding range shows, where it is plain, or None.

    The lowest note decides: from C3 to below G3 a viola, from C2 to below C3 a cello, from E1 to
    below C2 a double bass. From G3 up nothing is plain: every instrument here can play that.
    Nor is it where the highest note lies more than two octaves and a fifth above the
    instrument's top string, which points to a keyboard or a harp (common practice, no source).
    A cello part that stays above its C3 is therefore taken for a viola's; the part's name and
    the lesson file come before this guess.
    """
    table = [INSTRUMENTS[key] for key in ("viola", "cello", "double bass")]
    ceiling = INSTRUMENTS["violin"].open_strings[0]
    for candidate in table:
        floor = candidate.open_strings[0]
        if floor.midi <= lowest.midi < ceiling.midi:
            top = transpose(candidate.open_strings[-1], _CLEAR_REACH)
            return candidate if highest.midi <= top.midi else None
        ceiling = floor
    return None


def custom(pitches: Sequence[Pitch], name: str = "custom") -> Instrument:
    """Return an instrument with the open strings of a list (scordatura), put low to high.

    Raises:
        OptionError: the list is empty, names one pitch twice, or holds a microtone.
    """
    if not pitches:
        raise OptionError("an instrument needs at least one open string, such as G3 D4 A4 E5")
    for pitch in pitches:
        if pitch.is_microtone:
            raise OptionError(f"open string {pitch} is a microtone; write it with # or b")
        if pitches.count(pitch) > 1:
            raise OptionError(f"open string {pitch} is listed twice; list each string once")
    return Instrument(name, tuple(sorted(pitches, key=lambda pitch: pitch.midi)))


def string_named(instrument: Instrument, pitch: Pitch) -> Pitch | None:
    """Return the open string that has the pitch's name in some octave, or None.

    Names are compared by spelling: F double sharp is not G. Of several strings with one name
    the nearest is returned, of two equally near ones the lower.
    """
    named = [one for one in instrument.open_strings if one.pitch_class == pitch.pitch_class]
    return min(named, key=lambda one: abs(one.octave - pitch.octave), default=None)


def open_string_factors(instrument: Instrument) -> tuple[Fraction, ...]:
    """Return each open string's exact frequency over that of A4, low to high.

    The strings are tuned outward from the A string in pure fifths (3:2), those of the double
    bass in pure fourths (4:3); the A string is a whole number of octaves from A4. Both are steps
    of one chain of fifths, so every string has the Pythagorean ratio of its name to A4; and so
    have the strings of any custom list, also where it holds no A string or other intervals.

    Raises:
        OptionError: a string is a microtone.
    """
    return tuple(pythagorean_factor(string) for string in instrument.open_strings)


def open_string_hz(instrument: Instrument, a4_hz: float = DEFAULT_A4_HZ) -> tuple[float, ...]:
    """Return the open strings' frequencies in Hz, tuned as in :func:`open_string_factors`.

    Raises:
        OptionError: the frequency of A4 is out of range, or a string is a microtone.
    """
    a4_hz = check_a4_hz(a4_hz)
    return tuple(
        a4_hz * factor.numerator / factor.denominator for factor in open_string_factors(instrument)
    )
