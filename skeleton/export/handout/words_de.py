"""German: the words of a handout.

Notes are named as players name them: B is the half step under H, a sharp adds -is, a flat -es;
octaves are told by case and strokes (c' is middle C, the octave of the G string begins with c).
Source of both: any primer of music theory in German; written from memory.
"""

from __future__ import annotations

from typing import Final

from skeleton.export.handout.page_words import PagePhrases
from skeleton.export.handout.words import Phrases, Words
from skeleton.intonation import cautions
from skeleton.theory.interval import Interval
from skeleton.theory.pitch import Pitch, PitchClass

PHRASES: Final = Phrases(
    name_line="Name",
    date_line="Datum",
    by="{composer}",
    source="Nach {source}, mit den Bindungen dieser Datei. Gerüst: {rule}, dazu alle Töne, die wie "
    "eine leere Saite heißen.",
    strings="{instrument}, leere Saiten {strings}, a′ = {a4} Hz",
    this_week="Diese Woche",
    steps=(
        "Langsam stimmen, in der Reihenfolge unten.",
        (
            "Abschnitt für Abschnitt das bloße Gerüst zum Bordun spielen. Ein Ton mit Kästchen "
            "gleicht seiner leeren Saite: warten, bis die Saite mitklingt."
        ),
        "Die kleinen Noten dazunehmen: Gerüstton, alterierter Ton, Gerüstton, dann im Takt.",
        "Jeden Ton mit Buchstaben durch seine Oktaven tragen: er neigt sich überall gleich stark.",
        (
            "Die Etüde spielen, aufnehmen und mit dem Hörblatt in der Hand abhören. Zuerst die "
            "eigenen Zeichen, das Stimmgerät zuletzt."
        ),
    ),
    passage_head="Abschnitt",
    measures_head="Takte",
    tempo_head="Tempo",
    stage_head="Spielen",
    goal_head="Ziel",
    done_head="Fertig",
    stages={"bare": "bloßes Gerüst", "neighbours": "mit alterierten Tönen", "all": "wie notiert"},
    tempo="{tempo} Schläge/min",
    tune_first="Zuerst stimmen",
    tune_note="Eine Saite nach der anderen, bis die beiden Saiten ruhig gegeneinander stehen.",
    tune_reference="leere Saite {string} nach Stimmgabel oder Stimmgerät: {hz} Hz",
    tune_from="leere Saite {string} gegen {neighbour}: {interval}, {hz} Hz",
    passage="Abschnitt {name}",
    measure="Takt {first}",
    measures="Takt {first} bis {last}",
    drone="Bordun: leere Saite {strings}.",
    no_drone="Ohne Bordun: keine leere Saite ist rein gegen diese Gerüsttöne.",
    drone_served="{served} von {notes} Gerüsttönen sind rein dagegen.",
    bare="Bloßes Gerüst",
    neighbours="Mit den alterierten Tönen (klein, an ihren Gerüstton gebunden)",
    checklist="Zum Abhaken",
    fixed="Fest: wie die leere Saite, in jeder Oktave",
    as_open="wie die leere Saite {string}",
    accidentals="Jeden von seinem Gerüstton aus stimmen",
    note_head="Ton",
    tune_head="Stimmen",
    places_head="Takt (Schläge)",
    match_head="Gruppe",
    twins="Nicht derselbe Ton: {names}.",
    nothing="Hier ist nichts zu stimmen.",
    matches="Töne, die übereinstimmen müssen",
    matches_note="Jede Wiederkehr eines Tones neigt sich gleich stark, auch eine Oktave höher oder "
    "tiefer. Den ersten stimmen, dann zu den anderen tragen.",
    no_matches="Kein alterierter Ton dieser Etüde kehrt wieder.",
    octaves_head="Oktaven",
    lean_head="Neigung",
    match_string="fest: wie die leere Saite",
    like="wie {pitch}",
    etude="Die ganze Etüde",
    legend=(
        (
            "Schwarz: Gerüst. Grau: die übrigen Töne. Buchstabe im Kästchen: gleicht dieser leeren "
            "Saite. Buchstabe ohne Kästchen: gleicher Name, im Vorbeigehen."
        ),
        (
            "Buchstabe im Ring: seine Gruppe. G−½: Halbton unter G. G+1: Ganzton über G. "
            "=F+½: chromatischer Halbton über F."
        ),
    ),
    legend_named="Andere Schritte mit Namen: G−k3, kleine Terz unter G; g groß, r rein, "
    "ü übermäßig, v vermindert.",
    listening="Hörblatt",
    listening_steps=(
        (
            "Aufnehmen und mit diesem Blatt in der Hand abhören, vor jedem Stimmgerät: einmal "
            "ganz, dann Abschnitt für Abschnitt."
        ),
        (
            "Jeden Ton einkreisen, der nicht stimmt. Darüber ↑, wenn er zu hoch war, ↓, wenn er zu "
            "tief war, ? wenn du nicht sicher bist."
        ),
        (
            "Das Datum jeder Aufnahme unten eintragen, und wie viele Kreise jeder Abschnitt hat. "
            "Welche Töne kommen jedes Mal wieder?"
        ),
    ),
    take_head="Aufnahme vom:",
    targets="Zielwerte und Proben",
    targets_note="Stimmgerät: Cent über (+) oder unter (−) der gleichstufigen Stimmung desselben "
    "a′, wie ein Stimmgerät sie zeigt. Zuerst hören, im Zweifel hier nachsehen. Gemessen "
    "darf ein fester Ton um {fixed} Cent abweichen.",
    pure_note="Terzen und Sexten mit einer leeren Saite sind bis zu {cents} Cent neben diesen "
    "Werten rein. Nur solange diese Saite mitklingt, rein greifen; in der Melodie gilt der "
    "Zielwert.",
    target_head="Von",
    tuner_head="Stimmgerät",
    band_head="Schritt in Cent",
    check_head="Probe mit leerer Saite",
    exact="leere Saite {string}, genau",
    skeleton_note="Gerüstton",
    cents_from="{cents}",
    cents_range="{cents} ({low} bis {high})",
    check="{interval} {direction} {string}",
    care="Gib acht",
    picture="Notenbild, {what}, {measures}.",
    whole_etude="die Etüde ohne Zeichen",
    footer="{title} · {source}",
    pages="Seite {page} von {total}",
)

_NATURAL: Final = {step: step for step in "CDEFGA"} | {"B": "H"}
_STROKE: Final = "\N{PRIME}"
_QUALITIES: Final = {
    "P": "reine",
    "M": "große",
    "m": "kleine",
    "A": "übermäßige",
    "d": "verminderte",
}
_SHORT: Final = {"P": "r", "M": "g", "m": "k", "A": "ü", "d": "v"}
_TIMES: Final = ("", "doppelt ", "dreifach ", "vierfach ", "fünffach ")
_NUMBERS: Final = (
    "Prime", "Sekunde", "Terz", "Quarte", "Quinte", "Sexte", "Septime", "Oktave",
    "None", "Dezime", "Undezime", "Duodezime", "Tredezime", "Quartdezime", "Quintdezime",
)  # fmt: skip
_PLAIN: Final = {
    "P1": "Prime",
    "A1": "chromatischer Halbton",
    "m2": "Halbton",
    "M2": "Ganzton",
    "P8": "Oktave",
    "P15": "Doppeloktave",
}


def _name(name: PitchClass) -> str:
    """Fis, Cisis, B, H, Es, As, Heses; microtones keep letter and sign."""
    step, alter = name.step, name.alter
    if alter != int(alter):
        return f"{_NATURAL[step]}{str(name)[1:]}"
    alter = int(alter)
    if alter >= 0:
        return _NATURAL[step] + "is" * alter
    if step == "B":
        return "B" if alter == -1 else "H" + "es" * -alter
    if step in "AE":
        return step + "s" + "es" * (-alter - 1)
    return step + "es" * -alter


def _pitch(pitch: Pitch) -> str:
    """C is the great octave, c the small, c' the one above; below C strokes stand before."""
    name = _name(pitch.pitch_class)
    if pitch.octave >= 3:
        return name.lower() + _STROKE * (pitch.octave - 3)
    return _STROKE * (2 - pitch.octave) + name


def _interval(interval: Interval) -> str:
    if interval.is_microtone:
        return f"{interval.size} Halbtöne"
    if interval.name in _PLAIN:
        return _PLAIN[interval.name]
    quality = interval.name.rstrip("0123456789")
    times = len(quality)
    degree = _TIMES[times - 1] if times <= len(_TIMES) else f"{times}fach "
    number = interval.number
    noun = _NUMBERS[number - 1] if number <= len(_NUMBERS) else f"{number}. Stufe"
    return f"{degree}{_QUALITIES[quality[0]]} {noun}"


def _short_interval(interval: Interval) -> str:
    """k3, g6, r5, ü4, vv5 (common practice, from memory)."""
    return "".join(_SHORT.get(sign, sign) for sign in interval.name)


WORDS: Final = Words(
    code="de",
    phrases=PHRASES,
    decimal=",",
    conjunction="und",
    pitch=_pitch,
    name=_name,
    interval=_interval,
    short_interval=_short_interval,
    above="über",
    below="unter",
    anchor="{interval} {direction} {pitch}",
    same_pitch="gleiche Tonhöhe wie {pitch}",
    no_anchor="kein anderer Gerüstton, von dem aus er zu stimmen wäre",
    rules={
        "second": "der zweite Ton jeder Bindung",
        "first": "der erste Ton jeder Bindung",
        "last": "der letzte Ton jeder Bindung",
        "pairs": "der zweite Ton jeder Bindung von zweien",
        "on-beat": "die Töne auf den Schlägen",
    },
    instruments={
        "violin": "Violine",
        "viola": "Viola",
        "cello": "Violoncello",
        "double bass": "Kontrabass",
        "custom": "eigene Saiten",
    },
    cautions={
        cautions.TUNING: "Langsam stimmen, eine Saite nach der anderen, das Gesicht von der "
        "dünnsten Saite abgewandt.",
        cautions.PEGS: "Wenn ein Wirbel nicht hält, Lehrkraft oder Geigenbauer fragen.",
        cautions.HEARING: "Den Bordun leiser halten als das eigene Spiel. Mit Kopfhörern haben "
        "Erwachsene 40 Stunden in der Woche bei 80 dB, Kinder bei 75 dB, je 3 dB mehr die Hälfte; "
        "das eigene Spiel zählt mit.",
        cautions.LOAD: "Minuten nach und nach zulegen: Spieler nennen einen plötzlichen Sprung der "
        "Belastung als Ursache von Schmerzen.",
        cautions.BREAKS: "Pausen machen. Aufhören, wenn es weh tut, und Lehrkraft oder Arzt "
        "fragen.",
        cautions.DRONES: "Zum Bordun üben und hinhören; Spieler mögen ihn, und Studien haben nicht "
        "gefunden, dass sie davon besser stimmen.",
    },
)


PAGE: Final = PagePhrases(
    contents="Inhalt",
    show="Zeigen",
    hear="Zum Mitspielen",
    drone_player="Bordun: leere Saite {strings}",
    track_player="Zum Mitspielen, {stage}, {tempo}",
    no_sound="Dieser Browser kann diese Klangdateien nicht abspielen.",
    tap="Einen Ton antippen, oder mit den Pfeiltasten von Ton zu Ton gehen und die Eingabetaste "
    "drücken: er sagt, woran er hängt, und alle Stellen, an denen er wiederkehrt, leuchten auf.",
    tap_listening="Jeden Ton antippen, der nicht stimmte, und sagen, wie. Mit der Tastatur: die "
    "Pfeiltasten gehen von Ton zu Ton; − heißt zu tief, + zu hoch, ? nicht sicher, Entf nimmt ein "
    "Zeichen weg.",
    place="Takt {measure}, Schlag {beat}",
    outside="Blasse Takte gehören zu anderen Abschnitten.",
    dark="Auf dunklem Bildschirm ist das Gerüst weiß.",
    card="Der Ton",
    card_string="Fest",
    card_skeleton="Gerüst",
    card_tune="Stimmen",
    card_or="Oder",
    card_step="Neigung",
    card_match="Gruppe",
    card_check="Probe",
    card_tuner="Zuletzt: Stimmgerät",
    string_exact="leere Saite {string}, genau",
    string_up="leere Saite {string}, genau; Oktaven höher: {octaves}",
    string_down="leere Saite {string}, genau; Oktaven tiefer: {octaves}",
    by_slur="nach der Regel dieses Blattes",
    by_name="heißt wie eine leere Saite",
    by_lesson="so entschieden für diese Stunde",
    step_cents="{step} Cent",
    tuner_cents="{cents} Cent",
    in_passing="weder Gerüst noch alteriert",
    match="{letter}: {pitches}, {places} Stellen",
    show_match="{letter} in den Noten zeigen",
    next_place="Nächste Stelle",
    close="Schließen",
    take="Aufnahme",
    take_option="{date}, Zeichen: {marks}",
    take_date="Datum dieser Aufnahme",
    new_take="Neue Aufnahme",
    drop_take="Diese Aufnahme löschen",
    drop_sure="Die Aufnahme vom {date} und ihre Zeichen löschen?",
    save="Zeichen als Datei sichern",
    load="Zeichen aus einer Datei lesen",
    verdict="Wie war {note}?",
    flat="zu tief",
    sharp="zu hoch",
    unsure="nicht sicher",
    none="kein Zeichen",
    marked="{note}, Zeichen: {says}",
    key_legend="Ring mit ↓: zu tief. Gestrichelter Ring mit ↑: zu hoch. Gepunkteter Ring mit ?: "
    "nicht sicher.",
    returning="Töne, die wiederkommen",
    returning_note="In mehr als einer Aufnahme gezeichnet:",
    nothing_returns="Noch ist kein Ton in mehr als einer Aufnahme gezeichnet.",
    said_note="{note}, {place}. {facts}",
    said_mark="{note}, {place}: {says}. Zeichen in dieser Aufnahme: {marks}.",
    said_cleared="{note}, {place}: kein Zeichen. Zeichen in dieser Aufnahme: {marks}.",
    said_take="Aufnahme vom {date}, Zeichen: {marks}.",
    said_dropped="Die Aufnahme vom {date} ist gelöscht.",
    said_saved="Zeichen gesichert als {file}.",
    said_loaded="Neue Aufnahmen gelesen: {takes}, mit Zeichen: {marks}.",
    said_unknown="Ausgelassene Zeichen, deren Töne es in dieser Etüde nicht gibt: {marks}.",
    said_not_marks="{file} enthält keine Zeichen, die diese Seite lesen kann. Nichts wurde "
    "geändert.",
    said_other_etude="{file} enthält Zeichen für eine andere Etüde oder eine andere Fassung von "
    "dieser. Nichts wurde geändert.",
    said_not_kept="Dieser Browser behält keine Zeichen. Vor dem Schließen als Datei sichern.",
)
