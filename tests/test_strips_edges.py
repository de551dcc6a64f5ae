"""Odd cases, windows and screens: everything is painted whole, labels keep apart, nothing stops the desk."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io.case import Case, Span
from afterclamp.io.recording import Note, RecordedChannel, Segment
from afterclamp.replay.strips import hover, painter
from afterclamp.replay.strips.axis import FROM_START, TimeText, time_ticks
from afterclamp.replay.strips.envelope import Grain, TimeScale
from afterclamp.replay.strips.lane_paint import paint_lane
from afterclamp.replay.strips.lanes import Bar, lanes_of, pack
from afterclamp.replay.strips.layout import Strip, strips_of
from afterclamp.replay.strips.margin import measurer, text_font
from afterclamp.replay.strips.painter import Picture, paint_strips
from afterclamp.replay.strips.places import heights_of
from afterclamp.replay.strips.theme import PAPER
from afterclamp.replay.strips.view import StripsView
from numpy.typing import NDArray
from PySide6.QtCore import QRect
from PySide6.QtGui import QImage, QPainter
from pytestqt.qtbot import QtBot
from recordings import START, case_of, even, recording

pytestmark = pytest.mark.usefixtures("qapp")  # fonts need it

GROUND = 0xFF000000 | int(PAPER.ground[1:], 16)


def wave(
    label: str, values: NDArray[np.floating], rate: float = 50.0, unit: str = "mmHg", valid: bool = True
) -> RecordedChannel:
    codes = np.round(values * 10).astype(np.int16)
    there = None if valid else np.zeros(len(codes), bool)
    return even(label, codes, [Segment(0.0, 0, len(codes), rate, scale=0.1)], unit=unit, valid=there)


def pulse(seconds: float, level: float = 80.0, rate: float = 50.0) -> NDArray[np.floating]:
    return level + 20 * np.sin(2 * np.pi * 1.2 * np.arange(int(seconds * rate)) / rate)


def painted(
    case: Case,
    span: Span,
    strips: list[Strip] | None = None,
    size: tuple[int, int] = (900, 400),
    ratio: float = 1.0,
) -> NDArray[np.uint32]:
    image = QImage(round(size[0] * ratio), round(size[1] * ratio), QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(ratio)
    image.fill(0xFFFF00FF)  # no colour of the theme: what is left of it was not painted
    brush = QPainter(image)
    box = (0, 0, *size)
    paint_strips(
        brush, QRect(*box), case, span, strips_of(case) if strips is None else strips, playhead=span.start
    )
    brush.end()
    return np.array(image.constBits(), copy=True).view(np.uint32).reshape(image.height(), -1)


def whole(pixels: NDArray[np.uint32]) -> bool:
    """Painted to the last pixel, with an axis: ink below the last strip."""
    return not (pixels == 0xFFFF00FF).any() and len(np.unique(pixels[-22:, 200:])) > 2


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "case"


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    made = recording("a", [wave("Art Rad L", pulse(600)), wave("CVP", pulse(600, 10))])
    with case_of(tmp_path_factory.mktemp("usual") / "case", made) as case:
        yield case


# -- odd channels ---------------------------------------------------------------------------------------


def test_a_channel_of_one_sample_is_a_dot_in_its_strip(folder: Path) -> None:
    case = case_of(
        folder,
        recording("a", [wave("Art Rad L", pulse(60)), wave("pump flow", np.array([4.4]), 1.0, "L/min")]),
    )
    pixels = painted(case, Span(-1.0, 1.0))
    assert whole(pixels)
    flow = strips_of(case)[1]
    assert flow.y_range[0] <= 4.4 <= flow.y_range[1]
    alone = painted(case, Span(-1.0, 1.0), [flow])
    assert (alone[10:370, 270:880] == 0xFF000000).any(), "black ink of the one value"


def test_a_constant_channel_is_a_line_inside_its_strip(folder: Path) -> None:
    case = case_of(folder, recording("a", [wave("P1", np.full(3000, 12.0))]))
    (strip,) = strips_of(case)
    assert strip.y_range[0] < 12.0 < strip.y_range[1]
    rows = np.flatnonzero((painted(case, Span(0, 60))[5:370, 300:880] == 0xFF000000).all(axis=1))
    assert 0 < len(rows) < 6


def test_a_channel_without_any_value_says_so_and_keeps_its_axis(folder: Path) -> None:
    case = case_of(folder, recording("a", [wave("P1", pulse(60), valid=False), wave("CVP", pulse(60, 8))]))
    empty = next(strip for strip in strips_of(case) if strip.title == "P1")
    pixels = painted(case, Span(0, 60), [empty])
    assert whole(pixels)
    assert (pixels[150:250, 500:700] != GROUND).any(), "words in the middle"


def test_negative_pressures_are_seen(folder: Path) -> None:
    case = case_of(folder, recording("a", [wave("Art Rad L", pulse(600, -5))]))
    (strip,) = strips_of(case)
    # A wave between -25 and 15: the axis, usually from 0 on, reaches there.
    assert strip.y_range[0] <= -25
    assert whole(painted(case, Span(0, 600)))


# -- odd cases and windows ------------------------------------------------------------------------------


def test_a_case_of_three_seconds_is_shown(folder: Path, qtbot: QtBot) -> None:
    case = case_of(folder, recording("a", [wave("Art Rad L", pulse(3))]))
    view = StripsView()
    qtbot.addWidget(view)
    view.set_case(case)
    assert view.span == case.span
    assert whole(painted(case, case.span))


def test_a_case_of_thirty_hours_is_shown(folder: Path) -> None:
    rows = np.tile(np.arange(36, 37, 0.1), 1080)  # 10 800 values, one in 10 s
    case = case_of(folder, recording("a", [wave("NP temp", rows, 0.1, "degC")]))
    assert case.span.duration == pytest.approx(30 * 3600, abs=20)
    assert whole(painted(case, case.span))
    assert whole(painted(case, Span(107_000.0, 107_900.0)))


@pytest.mark.parametrize(("label", "strips"), [("P", 20), ("Art Rad L", 1)])
def test_twenty_channels_are_shown(folder: Path, label: str, strips: int) -> None:
    channels = [
        replace(wave(f"P{n}" if label == "P" else label, pulse(60, 5.0 * n)), key=f"p{n}") for n in range(20)
    ]
    case = case_of(folder, recording("a", channels))
    assert len(strips_of(case)) == strips
    assert sum(len(strip.traces) for strip in strips_of(case)) == 20
    for size in ((1280, 260), (1600, 1000)):
        assert whole(painted(case, case.span, size=size))


@pytest.mark.parametrize("span", [Span(-500.0, -100.0), Span(590.0, 2000.0), Span(900.0, 1000.0)])
def test_a_window_beside_the_case_has_its_axis(usual: Case, span: Span) -> None:
    assert whole(painted(usual, span))


@pytest.mark.parametrize("length", [1e-3, 0.01, 0.5])
@pytest.mark.parametrize("start", [0.0, 300.0, 599.99])
def test_a_window_of_a_millisecond_is_painted(usual: Case, start: float, length: float) -> None:
    span = Span(start, start + length)
    assert whole(painted(usual, span))
    ticks = time_ticks(span.start, span.end, 680.0, measurer(text_font(PAPER, 0.88)), FROM_START)
    assert ticks.labelled


# -- screens --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ratio", [1.0, 1.25, 1.5, 2.0])
@pytest.mark.parametrize("length", [600.0, 30.0, 2.0])
def test_every_dot_of_every_screen_is_painted(usual: Case, ratio: float, length: float) -> None:
    pixels = painted(usual, Span(100.0, 100.0 + length), ratio=ratio)
    assert not (pixels == 0xFFFF00FF).any()


@pytest.mark.parametrize("ratio", [1.0, 1.25, 1.5, 2.0])
def test_labels_of_the_time_axis_keep_apart(
    usual: Case, ratio: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    measure = measurer(text_font(PAPER, 0.88))
    for length in (1e-3, 0.3, 7.0, 33.0, 1800.0, 29_000.0, 110_000.0):
        for text in (FROM_START, TimeText(28_000.0)):
            picture = Picture(PAPER)
            picture.show(usual, strips_of(usual), ())
            picture.time_text = text
            picture.arrange(700, 300, Span(50.0, 50.0 + length), painter.Grain.of_screen(ratio))
            places = picture.places
            ticks = time_ticks(
                picture.scale.start, picture.scale.end, places.right - places.left, measure, text
            )
            boxes = [
                (picture.x_of(t) - measure(word) / 2, picture.x_of(t) + measure(word) / 2)
                for t, word in ticks.labelled
            ]
            assert all(right < left for (_, right), (left, _) in pairwise(boxes))


# -- heights --------------------------------------------------------------------------------------------


def test_each_strip_has_what_it_needs_and_the_rest_goes_by_weight(usual: Case) -> None:
    arterial, venous = strips_of(usual)
    heights = heights_of([arterial, venous], 500.0)
    assert sum(heights) == pytest.approx(500.0)
    over = 500.0 - arterial.least - venous.least
    assert heights[0] == pytest.approx(arterial.least + over * 3.0 / 4.2)  # weights 3 and 1.2
    small = heights_of([arterial, venous], 20.0)
    assert sum(small) == pytest.approx(20.0)
    assert min(small) > 0


# -- clocks that nobody has set -------------------------------------------------------------------------


@pytest.fixture
def unset(folder: Path) -> Case:
    """A monitor as the reference, and a pump with a line of text, whose clock nobody has set."""
    rows = wave("pump flow", np.full(600, 4.4), 1.0, "L/min")
    pump = recording(
        "pump", [rows], first_stamp=START + timedelta(seconds=40), notes=[Note(100.0, 100.0, "cooling")]
    )
    case = case_of(folder, recording("monitor", [wave("Art Rad L", pulse(600))]), pump)
    case.log.append("tester", "reference", {"source": "monitor"})
    case.refresh()
    return case


def test_a_trace_of_an_unset_clock_says_so(unset: Case) -> None:
    arterial, flow = strips_of(unset)
    assert not arterial.traces[0].clock_unset
    assert flow.traces[0].clock_unset
    assert "clock not set" in hover.margin_tip(flow)
    assert "clock not set" not in hover.margin_tip(arterial)
    # The words stand in the upper left corner of the strip, where nothing else is at 4.4 of 0 to 6 L/min.
    corner = painted(unset, unset.span, [flow])[5:18, 275:360]
    assert len(np.unique(corner)) > 3


def test_a_line_of_text_of_an_unset_clock_is_shown_with_a_sign(unset: Case, qtbot: QtBot) -> None:
    (lane,) = lanes_of(notes=unset.notes)
    assert lane.title == "Notes, ? clock not set"
    assert hover.bar_tip(lane.bars[0], FROM_START).endswith("clock not set")
    view = StripsView()
    qtbot.addWidget(view)
    view.resize(900, 300)
    view.set_case(unset)
    view.set_notes(unset.notes)
    assert not view.grab().isNull()


def test_the_tip_beside_a_strip_has_the_whole_names(usual: Case) -> None:
    tip = hover.margin_tip(strips_of(usual)[0])
    assert tip.splitlines() == ["Arterial pressure, mmHg", "left radial: from a (Art Rad L)"]


class Listening(QPainter):
    """Keeps what is written."""

    def __init__(self, image: QImage) -> None:
        super().__init__(image)
        self.written: list[str] = []

    def drawText(self, *what: object) -> None:  # type: ignore[override]
        self.written.append(str(what[-1]))


@pytest.mark.parametrize("page", [False, True])
def test_a_bar_that_just_does_not_hold_its_length_has_it_beside(page: bool) -> None:
    image = QImage(600, 40, QImage.Format.Format_RGB32)
    painting = Listening(image)
    painting.setFont(text_font(PAPER))
    wide = measurer(text_font(PAPER))("20:30")
    for pixels in range(4, 80):
        lane = pack("phase", [Bar(10.0, 40.0, "18:30"), Bar(200.0, 200.0 + pixels, "20:30")], most_rows=1)
        painting.written.clear()
        scale = TimeScale.of(0.0, 600.0, 600)
        paint_lane(painting, lane, 0.0, 0.0, 14.0, scale, Grain(), PAPER, page=page)
        assert painting.written == ["18:30", "20:30"], (pixels, wide)
    painting.end()
