"""An etude-like score of any size, made by rule: the load of the reading benchmarks."""

from __future__ import annotations

from itertools import islice
from random import Random

_SIGNS = {1: "sharp", -1: "flat", 0: "natural"}


def etude(notes: int, seed: int = 1) -> bytes:
    """Return a MusicXML score of a solo part in sixteenths, slurred two by two in 4/4.

    A walk by letters in G major in which every third note is altered; each note with the
    children that notation programs write.
    """
    random = Random(seed)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        "<!DOCTYPE score-partwise PUBLIC "
        '"-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
        '"http://www.musicxml.org/dtds/partwise.dtd">',
        '<score-partwise version="4.0">',
        "  <movement-title>A study made by rule</movement-title>",
        '  <part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list>',
        '  <part id="P1">',
    ]
    walk = _walk(random)
    for place in range((notes + 15) // 16):
        lines.append(f'    <measure number="{place + 1}" width="320.5">')
        if place == 0:
            lines.append(
                "      <attributes>\n        <divisions>4</divisions>\n"
                "        <key>\n          <fifths>1</fifths>\n        </key>\n"
                "        <time>\n          <beats>4</beats>\n"
                "          <beat-type>4</beat-type>\n        </time>\n"
                "        <clef>\n          <sign>G</sign>\n          <line>2</line>\n"
                "        </clef>\n      </attributes>"
            )
        for count, diatonic in enumerate(islice(walk, min(16, notes - 16 * place))):
            lines.append(_note(random, diatonic, count))
        lines.append("    </measure>")
    lines += ["  </part>", "</score-partwise>", ""]
    return "\n".join(lines).encode()


def _walk(random: Random):
    place = 35
    while True:
        yield place
        place = min(max(place + random.choice((-2, -1, -1, 1, 1, 2)), 26), 47)


def _note(random: Random, diatonic: int, count: int) -> str:
    octave, letter = divmod(diatonic, 7)
    step = "CDEFGAB"[letter]
    alter = random.choice((-1, 1)) if random.random() < 1 / 3 else int(step == "F")
    signed = alter != int(step == "F")
    beam = ("begin", "continue", "continue", "end")[count % 4]
    slur = "stop" if count % 2 else "start"
    return "\n".join(
        [
            f'      <note default-x="{20 + 18 * count}.25" default-y="-15.00">',
            "        <pitch>",
            f"          <step>{step}</step>",
            *([f"          <alter>{alter}</alter>"] if alter else []),
            f"          <octave>{octave}</octave>",
            "          </pitch>",
            "        <duration>1</duration>",
            "        <voice>1</voice>",
            "        <type>16th</type>",
            *([f"        <accidental>{_SIGNS[alter]}</accidental>"] if signed else []),
            "        <stem>up</stem>",
            f'        <beam number="1">{beam}</beam>',
            f'        <beam number="2">{beam}</beam>',
            "        <notations>",
            f'          <slur type="{slur}" number="1"/>',
            "          </notations>",
            "        </note>",
        ]
    )
