"""Curves and their plots: against the pitches that were synthesised, and drawn by resvg."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from PIL import Image

from skeleton.errors import TakeError
from skeleton.export.engraving.png import png_bytes
from skeleton.export.take.curves_picture import curves_picture
from skeleton.export.take.plot_rows import PAUSE_MM, PAUSE_S, Sounded, rows
from skeleton.export.take.plots import take_plots
from skeleton.export.take.words import take_words
from skeleton.listening.pitch_curves import MOST_POINTS, STEP_S

SVG = "{http://www.w3.org/2000/svg}"
WITHIN_CENTS = 3.0
WIDTH_MM = 184.0
ROUNDING_MM = 0.02


def test_a_curve_lies_where_the_note_was_played(take) -> None:
    for place, cents in {4: 24.0, 11: -22.0, 18: 30.0, 2: 0.0, 7: 0.0}.items():
        curve = take.curve(place)
        heard = curve.judged.heard[0]
        inside = (curve.time_s > heard.start_s + 0.1) & (curve.time_s < heard.end_s - 0.08)
        # The aim of a note is its anchor as played, where it hangs on one.
        zero = curve.judged.cents - curve.away_cents
        assert abs(float(np.nanmedian(curve.cents[inside])) + zero - cents) < WITHIN_CENTS
        assert abs(curve.away_cents + zero - cents) < WITHIN_CENTS
        assert abs(heard.start_s - take.starts_s[place]) < 0.1


def test_vibrato_is_seen_to_swing(take) -> None:
    curve = take.curve(9)
    heard = curve.judged.heard[0]
    inside = (curve.time_s > heard.start_s + 0.1) & (curve.time_s < heard.end_s - 0.1)
    swing = curve.cents[inside]
    # Frames of 36 ms flatten the crests of a swing of 5.5 Hz by about a tenth.
    assert 0.75 * 36 < float(np.nanmax(swing) - np.nanmin(swing)) < 1.25 * 36
    assert int(np.sum(np.diff(np.sign(swing - np.nanmedian(swing))) != 0)) >= 8


def test_the_band_says_what_the_verdict_says(take) -> None:
    checked = 0
    for one in take.curves:
        verdict, u = one.judged.verdict, one.judged.u_cents
        if verdict is None:
            continue
        checked += 1
        inside = one.low_cents - 0.01 <= one.away_cents <= one.high_cents + 0.01
        if verdict == "in tune":
            assert inside
        elif verdict == "sharp":
            assert one.away_cents > one.high_cents + u - 0.01
        elif verdict == "flat":
            assert one.away_cents < one.low_cents - u + 0.01
    assert checked > 15


def test_a_curve_is_small(take) -> None:
    for one in take.curves:
        assert len(one.time_s) == len(one.cents) <= MOST_POINTS
        if len(one.time_s) > 1:
            assert np.diff(one.time_s).min() > 0.9 * STEP_S


# --- rows


def played(lengths, gaps, measures) -> list[Sounded]:
    out, at, bar = [], 0.0, 0
    for length, gap, ends in zip(lengths, gaps, measures, strict=False):
        at += gap
        out.append(Sounded(at, at + length, bar, ()))
        at += length
        bar += ends
    return out


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.03, 40.0), st.floats(0.0, 5.0), st.booleans()),
        min_size=1,
        max_size=60,
    ),
    st.floats(60.0, 200.0),
)
def test_rows_hold_everything_once_in_order_and_fit(notes, width_mm) -> None:
    line = played(*zip(*notes, strict=True))
    made = rows(line, width_mm)
    assert [one.sounded for row in made for one in row] == line
    for row in made:
        assert row[0].left_mm == 0.0
        assert row[0].begins_measure
        assert not row[0].pause
        edge = 0.0
        for one in row:
            assert one.left_mm >= edge - 1e-6
            edge = one.left_mm + one.width_mm
        assert edge <= width_mm + 1e-6


def test_time_is_even_within_a_row_and_a_pause_is_cut() -> None:
    line = [Sounded(0.0, 0.4, 0, ()), Sounded(0.4, 1.2, 0, ()), Sounded(9.0, 9.4, 1, ())]
    (row,) = rows(line, 400.0)
    scale = row[0].width_mm / 0.4
    assert row[1].width_mm == pytest.approx(0.8 * scale)
    assert [one.pause for one in row] == [False, False, True]
    assert row[2].left_mm - (row[1].left_mm + row[1].width_mm) == pytest.approx(PAUSE_MM)
    short = rows([line[0], Sounded(0.4 + PAUSE_S / 2, 1.0, 0, ())], 400.0)[0]
    assert short[1].left_mm == pytest.approx((0.4 + PAUSE_S / 2) * short[0].width_mm / 0.4)


# --- plots


def drawn(take):
    return [
        plot
        for one in take_plots(take.report, take.curves, WIDTH_MM, take_words("en"))
        for plot in one.plots
    ]


def test_every_row_is_a_picture_that_names_its_notes(take) -> None:
    plots = drawn(take)
    assert plots
    said = " ".join(plot.alt for plot in plots)
    assert "high by" in said
    assert "low by" in said
    names = []
    for plot in plots:
        root = etree.fromstring(plot.svg)
        names += [one.text for one in root.iter(f"{SVG}text")]
        # A page's policy lets no style attribute pass, and nothing may refer outside.
        assert not [one for one in root.iter() if "style" in one.attrib or "href" in one.attrib]
        colours = {one.get(key) for one in root.iter() for key in ("fill", "stroke")}
        assert colours <= {None, "none", "currentColor"}
    for place in range(len(take.events)):
        pitch = str(take.report.targets[take.note(place)].place.pitch)
        assert pitch.replace("#", "♯").replace("b", "♭") in names
    assert sum(bool(re.fullmatch(r"[↑↓]\d+", one)) for one in names) >= 3


def test_rings_stand_at_the_judged_values(take) -> None:
    plots = drawn(take)
    circles = [one for plot in plots for one in etree.fromstring(plot.svg).iter(f"{SVG}circle")]
    judged = [one for one in take.curves if one.away_cents is not None]
    assert len(circles) == len(judged)
    # The scale in cents is read off the row's own lines at +20 and 0.
    first = etree.fromstring(plots[0].svg)
    texts = {one.text: float(one.get("y")) for one in first.iter(f"{SVG}text")}
    height = {text: texts[text] for text in ("+20", "0")}
    a_cent_mm = (height["0"] - height["+20"]) / 20
    rows_of = [len(list(etree.fromstring(plot.svg).iter(f"{SVG}circle"))) for plot in plots]
    for circle, one in list(zip(circles, judged, strict=True))[: rows_of[0]]:
        y = height["0"] - 0.85 - float(circle.get("cy"))
        assert abs(y - one.away_cents * a_cent_mm) < ROUNDING_MM


def test_nothing_is_cut_off(take) -> None:
    for plot in drawn(take):
        # Drawn with ten millimetres round it: no ink may lie there.
        width, height = plot.width_mm + 20, plot.height_mm + 20
        svg = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
            f'viewBox="-10 -10 {width:g} {height:g}">{plot.inner}</svg>'
        )
        image = Image.open(io.BytesIO(png_bytes(svg, dpi=127))).convert("L")
        left, top, right, bottom = Image.eval(image, lambda value: 255 - value).getbbox()
        pixels_a_mm = 127 / 25.4
        assert left >= 9.5 * pixels_a_mm
        assert top >= 9.5 * pixels_a_mm
        assert right <= (width - 9.5) * pixels_a_mm
        assert bottom <= (height - 9.5) * pixels_a_mm


def test_one_tall_picture_with_its_own_fonts(take) -> None:
    name = '"> <script>alert(1)</script> & co.wav'
    svg = curves_picture(take.report, take.curves, name)
    assert svg == curves_picture(take.report, take.curves, name)
    root = etree.fromstring(svg)
    assert not list(root.iter(f"{SVG}script"))
    assert name in root.find(f"{SVG}title").text
    assert svg.count("@font-face") == 2
    image = Image.open(io.BytesIO(png_bytes(svg, dpi=60)))
    assert image.width == round(190 * 60 / 25.4)


def test_a_take_without_a_note_of_a_passage_has_no_curves(take) -> None:
    with pytest.raises(TakeError, match="no curve"):
        curves_picture(take.report, (), "nothing.wav")
