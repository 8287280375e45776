"""What can be played to each passage: its drone, and a track for each stage of the skeleton.

Drones are FLAC, whose loops join sample on sample; tracks are Ogg Vorbis, five times smaller.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final
from urllib.parse import quote

from skeleton.analysis.lesson import Lesson
from skeleton.analysis.results import Passage
from skeleton.audio.drone import drone, drone_blocks
from skeleton.errors import OptionError
from skeleton.export.handout.page_words import PagePhrases
from skeleton.export.handout.words import Words
from skeleton.export.tracks.excerpt import Stage
from skeleton.export.tracks.practice import DEFAULT_TEMPO, practice
from skeleton.export.tracks.sounding import chosen_drone, pitch_hz, reference_of
from skeleton.export.tracks.track import write_blocks, write_track
from skeleton.intonation.results import EtudeTargets
from skeleton.score.model import Notice
from skeleton.theory.pitch import Pitch

RATE: Final = 22050
"""Samples a second: partials up to 11 kHz, more than the tones used here have."""

DRONE_S: Final = 10.0

STAGES: Final[tuple[Stage, ...]] = ("bare", "neighbours", "all")


@dataclass(frozen=True, slots=True)
class Sound:
    """A sound file in memory: its name, type of content (IANA), bytes, and what it is in words."""

    file: str
    mime: str
    data: bytes
    label: str
    loop: bool = False


def address(sound: Sound, *, embed: bool) -> str:
    """Return where a page finds a sound: in itself, or beside itself under its name."""
    if not embed:
        return quote(sound.file)
    return f"data:{sound.mime};base64,{b64encode(sound.data).decode('ascii')}"


def fits(files: Mapping[str, bytes], embed_up_to_mb: float) -> bool:
    """Whether sound files are small enough to be part of a page (megabytes of 10**6 bytes)."""
    encoded_bytes = sum(4 * -(-len(data) // 3) for data in files.values())
    return encoded_bytes <= embed_up_to_mb * 1e6


@dataclass(frozen=True, slots=True)
class PassageSounds:
    """The sounds of one passage. Passages with the same drone have the same :class:`Sound`."""

    drone: Sound | None
    tracks: tuple[Sound, ...]


@dataclass(frozen=True, slots=True)
class Sounds:
    """The sounds of all passages in order, and what was odd."""

    passages: tuple[PassageSounds, ...]
    notices: tuple[Notice, ...] = ()

    @property
    def files(self) -> dict[str, bytes]:
        """Every file once, by name."""
        found: dict[str, bytes] = {}
        for passage in self.passages:
            for sound in (*filter(None, [passage.drone]), *passage.tracks):
                found[sound.file] = sound.data
        return found


def sounds(
    found: EtudeTargets,
    words: Words,
    phrases: PagePhrases,
    lesson: Lesson | None = None,
    *,
    name: str = "handout",
) -> Sounds:
    """Make the sounds of all passages.

    Args:
        found: the targets of the etude.
        words: the language.
        phrases: the page's words in the same language.
        lesson: for the tempo of each passage; 40 beats a minute where it gives none.
        name: what the files' names begin with.
    """
    said = {one.name: one.tempo for one in (lesson or Lesson()).passages}
    drones: dict[tuple[Pitch, ...], Sound] = {}
    made: list[PassageSounds] = []
    notices: list[Notice] = []
    with TemporaryDirectory() as folder:
        place = Path(folder)
        for number, passage in enumerate(found.analysis.passages, start=1):
            strings, _ = chosen_drone(found, passage) if found.passages else ((), "")
            if strings and strings not in drones:
                drones[strings] = Sound(
                    f"{name}-drone-{len(drones) + 1}.flac",
                    "audio/flac",
                    _drone(found, strings, place),
                    phrases.drone_player.format(strings=words.listed(map(words.pitch, strings))),
                    loop=True,
                )
            tracks: list[Sound] = []
            tempo = said.get(passage.name) or DEFAULT_TEMPO
            for stage in STAGES:
                try:
                    data = _track(found, passage, stage, tempo, place)
                except OptionError as error:
                    notices.append(Notice("no-track", f"no track to play along with: {error}"))
                    continue
                said_tempo = words.phrases.tempo.format(
                    tempo=f"{tempo:g}".replace(".", words.decimal)
                )
                tracks.append(
                    Sound(
                        f"{name}-{number}-{stage}.mp3",
                        "audio/mpeg",
                        data,
                        phrases.track_player.format(
                            stage=words.phrases.stages[stage], tempo=said_tempo
                        ),
                    )
                )
            made.append(PassageSounds(drones.get(strings), tuple(tracks)))
    return Sounds(tuple(made), _once(notices))


def _drone(found: EtudeTargets, strings: tuple[Pitch, ...], folder: Path) -> bytes:
    reference = reference_of(found)
    made = drone([pitch_hz(reference, one) for one in strings], DRONE_S, RATE, loop=True)
    path = folder / "drone.flac"
    write_blocks(drone_blocks(made), path, rate=RATE)
    return path.read_bytes()


def _track(
    found: EtudeTargets, passage: Passage, stage: Stage, tempo: float, folder: Path
) -> bytes:
    path = folder / "track.mp3"
    write_track(practice(found, passage.name, stage, (tempo,)).schedule, path, rate=RATE)
    return path.read_bytes()


def _once(notices: Iterable[Notice]) -> tuple[Notice, ...]:
    return tuple(dict.fromkeys(notices))
