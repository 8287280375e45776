"""German: the words of a take."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from skeleton.export.handout.words_de import PAGE as HANDOUT_PAGE
from skeleton.export.take.words import TakePhrases

SAY: Final = TakePhrases(
    heard=("{number} von {of} Tönen gehört", "{number} von {of} Tönen gehört"),
    restarts=("{number}-mal neu angesetzt", "{number}-mal neu angesetzt"),
    wrong_notes=("{number} falscher Ton", "{number} falsche Töne"),
    judged="beurteilt {judged}: {fine} stimmen, {off} daneben, {unsure} unklar",
    references={
        "given": "Beurteilt nach den leeren Saiten wie angegeben ({strings} Hz).",
        "beginning": "Beurteilt nach den leeren Saiten, wie sie am Anfang gespielt wurden "
        "({strings} Hz).",
        "notes": "Keine leeren Saiten gehört: beurteilt nach der Tonhöhe der Aufnahme selbst "
        "({strings} Hz).",
    },
    between_strings="; ",
    nothing_off="Nichts, was gemessen wurde, ist sicher daneben.",
    findings={
        "height": (
            (
                "Die ganze Aufnahme liegt zu tief, um {size} gegenüber den leeren Saiten; erst "
                "stimmen, dann hören."
            ),
            (
                "Die ganze Aufnahme liegt zu hoch, um {size} gegenüber den leeren Saiten; erst "
                "stimmen, dann hören."
            ),
        ),
        "drift": (
            (
                "Die ganze Aufnahme sinkt, um {size} vom Anfang bis zum Ende; zu einer Saite "
                "zurückkehren."
            ),
            (
                "Die ganze Aufnahme steigt, um {size} vom Anfang bis zum Ende; zu einer Saite "
                "zurückkehren."
            ),
        ),
        "string": (
            (
                "{name} ist an {places} zu tief, um {size}: an die leere Saite {string} "
                "angleichen. {where}"
            ),
            (
                "{name} ist an {places} zu hoch, um {size}: an die leere Saite {string} "
                "angleichen. {where}"
            ),
        ),
        "lean": (
            (
                "{name} ({step}) ist an {places} zu nah an {anchor}, um {size}: weiter weg von "
                "{anchor} greifen. {where}"
            ),
            (
                "{name} ({step}) ist an {places} zu weit weg von {anchor}, um {size}: näher an "
                "{anchor} greifen. {where}"
            ),
        ),
        "return": (
            (
                "{name} ({step}) stimmt nicht mit seinen anderen Stellen überein: der Schritt ist "
                "hier um {size} kleiner. {where}"
            ),
            (
                "{name} ({step}) stimmt nicht mit seinen anderen Stellen überein: der Schritt ist "
                "hier um {size} größer. {where}"
            ),
        ),
        "note": (
            "{name} ist an {places} zu tief, um {size}: höher greifen. {where}",
            "{name} ist an {places} zu hoch, um {size}: tiefer greifen. {where}",
        ),
    },
    cents="{cents} Cent",
    in_places=("{off} von {number} Stelle", "{off} von {number} Stellen"),
    place="Takt {measure} Schlag {beat}",
    more_places=" und {more} weitere",
    verdicts={
        "flat": "zu tief",
        "sharp": "zu hoch",
        "in tune": "stimmt",
        "cannot tell": "unklar",
    },
    verdict_said="{says}, {away} ± {u} Cent gegen {what}",
    its_target="den Zielwert",
    open_string="die leere Saite {string}",
    its_place="seinen Platz ({step}, wie gespielt)",
    not_judged="nicht beurteilt ({reason})",
    unjudged={
        "nothing": "nichts davon war zu hören",
        "elsewhere": "dort klingt eine andere Tonhöhe",
        "octave-above": "er klingt eine Oktave höher",
        "octave-below": "er klingt eine Oktave tiefer",
        "too-short": "zu kurz zum Messen",
        "ringing": "der Ton davor klingt darüber nach",
        "covered": "vom anderen Ton des Doppelgriffs überdeckt",
        "unsure": "in der Aufnahme nicht sicher gefunden",
    },
    unjudged_otherwise="nicht beurteilt",
    note_head=("Takt, Schlag", "Ton", "Zeit", "Cent", "±", "Urteil", "Gruppe"),
    returns_head=("Gruppe", "Ton", "Gehört", "Schritt, Cent", "Streuung", "Anders in Takt (Cent)"),
    none_apart="nirgends",
    strings_head=("Saite", "Hz", "± Cent", "Von rein zur tieferen", "Woher bekannt"),
    strings_known={
        "given": "wie angegeben",
        "beginning": "vor dem ersten Ton gespielt",
        "notes": "aus den Tönen der Aufnahme",
    },
    string_not_heard="nicht gehört: reine Quinte zur Nachbarsaite",
    how=(
        (
            "Ein Ton, der wie eine leere Saite heißt, wird mit dieser Saite verglichen, wie sie "
            "gestimmt ist. Ein alterierter Ton, der einen Halbton neben seinem Gerüstton steht, "
            "wird mit diesem verglichen, wie er gespielt wurde: es zählt der Schritt. Jeder andere "
            "Ton wird mit seinem Zielwert in der Kette reiner Quinten verglichen."
        ),
        (
            "Cent: wie weit über (+) oder unter (−) seinem Platz ein Ton ist; mehrmals gespielt, "
            "alle Male zusammen. ±: wie sicher das ist, zwei Standardfehler. Ob ein Ton stimmt "
            "oder daneben ist, wird nur gesagt, wo die Messung es trägt; sonst bleibt es unklar."
        ),
    ),
    whole="Die Aufnahme als Ganzes {said}.",
    whole_sits="liegt gegenüber den Saiten bei {cents} ± {u} Cent",
    whole_moves="bewegt sich vom Anfang bis zum Ende um {cents} ± {u} Cent",
    limits="Erlaubt sind {fixed} Cent Abstand von einer leeren Saite und {match} Cent von den "
    "anderen Stellen desselben Tones.",
    care=(
        (
            "Zuerst hören, mit den Noten in der Hand, und anzeichnen, was nicht stimmt; dann hier "
            "nachsehen."
        ),
        (
            "Ein kurzer Ton, ein Ton unter einem anderen, der nachklingt, und weites Vibrato "
            "werden weniger sicher gemessen. Wo Ohr und Zahlen auseinandergehen, noch einmal "
            "hören; die Zahlen können falsch sein."
        ),
    ),
    notices={
        "low-fit": "Nur {number} % von dem, was klingt, passen zu den Noten; die Ergebnisse mit "
        "Vorsicht nehmen und prüfen, ob es der richtige Abschnitt ist.",
        "drone": "Ein Bordun war zu hören ({tones}) und wurde vor dem Abhören herausgenommen; Töne "
        "auf seiner Höhe sind beurteilt wie die anderen.",
        "no-strings": "Die leeren Saiten waren nicht angegeben und vor dem ersten Ton nicht "
        "gespielt; beurteilt ist nach der Tonhöhe der Aufnahme selbst, was nicht zeigen kann, dass "
        "alles zu hoch oder zu tief ist (zuerst die leeren Saiten spielen oder --strings-hz "
        "angeben).",
        "strings-missing": "Vor dem ersten Ton nicht gehört und als reine Quinte zur Nachbarsaite "
        "angenommen: leere Saite {strings}.",
        "not-aligned": "{when}: was hier klingt, passt zu keiner Stelle der Noten; es ist "
        "ausgelassen.",
        "place-unclear": "Nach einem Halt gespielt, wo die Noten dieselbe Tonfolge mehrmals haben "
        "(Töne: {number}): die Tonhöhe ist gemessen, die Stelle geraten.",
        "quiet": "Sehr leise ({number} dB unter Vollaussteuerung): näher ans Mikrofon gehen oder "
        "seine Rauschunterdrückung abschalten.",
        "clipped": "{when}: zu laut, die Spitzen sind abgeschnitten; leiser aufnehmen.",
        "damaged": "{when}: beschädigt; was nicht zu lesen war, ist ausgelassen.",
        "no-number": "{when}: enthält Werte, die keine Zahlen sind; sie gelten als Stille.",
    },
    span="{start} bis {end}",
    tone="{hz} Hz ab {time}",
    ring_told=(
        (
            "Mitklingende leere Saiten: von {number} gespielten Ton, der wie eine heißt, war "
            "{told} zu beurteilen"
        ),
        (
            "Mitklingende leere Saiten: von {number} gespielten Tönen, die wie eine heißen, waren "
            "{told} zu beurteilen"
        ),
    ),
    ring_rang="eine Saite klang mit: {times} ({names})",
    ring_silent="keine klang mit: {times} ({names})",
    ring_name="{name} {times}-mal",
    ring_others="warum die anderen nicht: {why}",
    ring_more=" und mehr",
    ring_why={
        "open-string": "es kann die leere Saite selbst sein",
        "double-stop": "ein anderer Ton klingt dazu",
        "not-measured": "der Ton selbst wurde nicht gemessen",
        "no-string": "keine leere Saite sollte ihm antworten",
        "too-short": "zu wenig Zeit, sie zu hören",
        "masked": "der nächste Ton überdeckt die Saite",
        "earlier": "die Saite kann von einem früheren Ton klingen",
        "no-comparison": "zu wenige andere Töne, um den Raum zu kennen",
        "hidden": "Raum oder Geräusche würden sie verdecken",
    },
    ring_method="(Gehört in dem, was nach einem Ton weiterklingt; am besten mit einer kurzen Pause "
    "danach. Solange der Ton klingt, lässt sich nichts sagen. Auch ein Ton, der ein wenig daneben "
    "ist, lässt seine Saite mitklingen, nur schwächer: es ist also kein Urteil über seine Höhe. "
    "Erprobt nur an Aufnahmen aus dem Rechner: zuerst dem Ohr trauen.)",
    ear_head=("Stelle", "Ton", "Ohr", "Messung", ""),
    ear_says={"flat": "zu tief", "sharp": "zu hoch", "unsure": "nicht sicher"},
    marked_etude="die Etüde mit den Zeichen der Aufnahme",
    marks_legend=(
        "durchgezogener Ring und ↓: zu tief; gestrichelter Ring und ↑: zu hoch; die Zahl: Cent",
        "?: gemessen, aber unklar; grau: nicht gehört oder nicht gemessen; ohne Zeichen: stimmt",
    ),
    curves_legend=(
        "Linie: wo der Ton sein soll; graue Fläche: stimmt; Kurve: was zu hören war",
        "Ring: was beurteilt wurde, sein Strich, wie unsicher das ist; ohne Ring: nicht beurteilt",
        (
            "darunter das Zeichen wie in den Noten; gestrichelt: die tieferen Töne eines Akkords; "
            "×: ein anderer Ton"
        ),
    ),
    curve_alt=(
        "Tonhöhenkurve, {measures}, {span}: {off}; {number} Ton stimmt.",
        "Tonhöhenkurve, {measures}, {span}: {off}; {number} Töne stimmen.",
    ),
    curve_off=("{name} um {cents} Cent zu tief", "{name} um {cents} Cent zu hoch"),
    none_off="keiner sicher daneben",
    marked_music="Die Etüde mit den Zeichen",
    note_by_note="Ton für Ton",
    listen="Abhören",
    listen_steps=(
        "Die Aufnahme einmal ganz abspielen, die Noten vor Augen.",
        (
            "Dann noch einmal hindurchgehen. Einen Ton antippen: sein Augenblick erklingt; dann "
            "sagen, wie er war."
        ),
        (
            "Wenn alles angezeichnet ist, was zu hören war, vergleichen. Was gemessen wurde, "
            "bleibt bis dahin verborgen."
        ),
    ),
    hint="Einen Ton antippen, um seinen Augenblick zu hören und ihn anzuzeichnen. Mit der "
    "Tastatur: die Pfeiltasten gehen von Ton zu Ton, die Eingabetaste spielt ab; − heißt zu tief, "
    "+ zu hoch, ? nicht sicher, Entf nimmt ein Zeichen weg.",
    go_on="Nach einem angetippten Ton weiterspielen",
    player="Die Aufnahme: {take}",
    music="Die Etüde",
    compared="Ohr und Messung",
    on_music="In den Noten, vom Ohr: ein Ring, und ein Pfeil über dem System. Gemessen: ein "
    "Kästchen, und unter dem System ein Pfeil mit Cent; ? unter dem System: gemessen, aber unklar.",
    measured="Was gemessen wurde",
    work_on="Woran zu arbeiten ist",
    rings="Saiten, die mitklangen",
    later="Und später",
    judging="Wie geurteilt wurde",
    caution="Bevor man es glaubt",
    notes="Alle Töne",
    curves="Tonhöhe von Augenblick zu Augenblick",
    play="Abspielen",
    play_time="{number}. Mal abspielen",
    not_played="{note}, {place}: in der Aufnahme nicht gefunden.",
    plays="{note}, {place}: wird abgespielt.",
    no_marks_sure="Nichts ist angezeichnet. Trotzdem zeigen, was gemessen wurde?",
    locked="Was gemessen wurde, ist jetzt zu sehen. Zum Weiterzeichnen verbergen.",
    compare="Mit der Messung vergleichen",
    hide="Messung verbergen",
    shown="Was gemessen wurde, ist zu sehen. {counts}.",
    hidden="Was gemessen wurde, ist verborgen.",
    no_sound="Dieser Browser kann den Klang der Aufnahme nicht abspielen.",
    measured_as=", gemessen: {said}",
    left_alone="Nicht angezeichnet, und es stimmt: {notes}.",
    head=("Stelle", "Ton", "Ohr", "Messung"),
    nothing="nichts",
    not_measured="nicht gemessen",
    kinds={
        "wrong direction": (
            "Falsche Richtung",
            "Gehört, dass er nicht stimmt, aber zur anderen Seite.",
        ),
        "missed": ("Überhört", "Gemessen daneben; nicht angezeichnet."),
        "imagined": ("Nicht bestätigt", "Angezeichnet; gemessen stimmt er."),
        "agreed": ("Einig", "Beide sagen dasselbe."),
        "open": ("Offen", "Ohr oder Messung kann es nicht sagen."),
    },
)


PAGE: Final = replace(
    HANDOUT_PAGE,
    take="Eigene Zeichen",
    take_date="Datum dieser Zeichen",
    new_take="Neue Zeichen",
    drop_take="Diese Zeichen löschen",
    drop_sure="Die Zeichen vom {date} löschen?",
    said_mark="{note}, {place}: {says}. Zeichen: {marks}.",
    said_cleared="{note}, {place}: kein Zeichen. Zeichen: {marks}.",
    said_take="Zeichen vom {date}: {marks}.",
    said_dropped="Die Zeichen vom {date} sind gelöscht.",
    said_loaded="Neue Sätze von Zeichen gelesen: {takes}, Zeichen darin: {marks}.",
)
