"""From a take judged to its sheet of paper or to its page: everything in one call."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from skeleton.audio.resample import Mono
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.make_page import EMBED_UP_TO_MB, WIDTH_MM, Page
from skeleton.export.handout.page_sounds import fits
from skeleton.export.handout.typeset import Paper, Pdf, music_width_mm
from skeleton.export.take.content import take_sheet
from skeleton.export.take.page import take_page
from skeleton.export.take.pdf import take_pdf
from skeleton.export.take.pictures import take_pictures
from skeleton.export.take.sound import take_sound
from skeleton.export.take.words import take_words
from skeleton.listening.ear_marks import Compared, EarTake
from skeleton.listening.notices import TakeNotice
from skeleton.listening.pitch_curves import NoteCurve
from skeleton.listening.report import TakeReport


def listening_sheet(
    report: TakeReport,
    curves: Sequence[NoteCurve],
    take: str,
    engraver: Engraver | None = None,
    *,
    ear: Sequence[Compared] | None = None,
    notices: Iterable[TakeNotice] = (),
    paper: Paper = "a4",
    language: str = "en",
) -> Pdf:
    """Make the sheet of a take as PDF.

    Args:
        report: the take judged.
        curves: of its attempts, :func:`skeleton.listening.pitch_curves.pitch_curves`.
        take: its name.
        engraver: a running engraver; one is started and ended where None.
        ear: the listener's own marks set beside it, or None.
        notices: what was odd about the recording.
        paper: ``a4`` or ``letter``.
        language: code of a language of :data:`skeleton.export.handout.words.LANGUAGES`.

    Raises:
        OptionError: there is no such language.
        EngravingError: the engraver failed.
        OutputError: the typesetter failed.
    """
    words = take_words(language)
    if engraver is None:
        with Engraver() as own:
            return listening_sheet(
                report, curves, take, own,
                ear=ear, notices=notices, paper=paper, language=language,
            )  # fmt: skip
    pictures = take_pictures(report, curves, engraver, music_width_mm(paper), words, marked=True)
    made = take_pdf(take_sheet(report, take, words, ear, notices), pictures, paper)
    return Pdf(made.data, (*pictures.notices, *made.notices))


def listening_page(
    report: TakeReport,
    curves: Sequence[NoteCurve],
    take: str,
    samples: Mono,
    rate: int,
    *,
    engraver: Engraver | None = None,
    ear: Sequence[EarTake] = (),
    notices: Iterable[TakeNotice] = (),
    embed_up_to_mb: float = EMBED_UP_TO_MB,
    name: str = "take",
    language: str = "en",
) -> Page:
    """Make the page of a take.

    Args:
        report: the take judged.
        curves: of its attempts, :func:`skeleton.listening.pitch_curves.pitch_curves`.
        take: its name.
        samples: the take.
        rate: its samples a second.
        engraver: a running engraver; one is started and ended where None.
        ear: the listener's own marks to begin with.
        notices: what was odd about the recording.
        embed_up_to_mb: where its sound is larger, it is a file beside the page.
        name: what the names of such files begin with.
        language: code of a language of :data:`skeleton.export.handout.words.LANGUAGES`.

    Raises:
        OptionError: there is no such language.
        EngravingError: the engraver failed.
        OutputError: the sound cannot be encoded.
    """
    words = take_words(language)
    if engraver is None:
        with Engraver() as own:
            return listening_page(
                report, curves, take, samples, rate, engraver=own, ear=ear, notices=notices,
                embed_up_to_mb=embed_up_to_mb, name=name, language=language,
            )  # fmt: skip
    pictures = take_pictures(report, curves, engraver, WIDTH_MM, words, marked=False)
    sound = take_sound(samples, rate, name, take)
    files = {sound.file: sound.data}
    embed = fits(files, embed_up_to_mb)
    html = take_page(
        report, take_sheet(report, take, words, None, notices), pictures, sound, ear,
        name=name, embed=embed,
    )  # fmt: skip
    return Page(html, {} if embed else files, pictures.notices)
