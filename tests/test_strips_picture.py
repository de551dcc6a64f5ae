"""What stands on the picture: pixels of traces, gaps, masks, the playhead, ticks, words. No golden images."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io.case import Case, Span
from afterclamp.io.recording import Segment
from afterclamp.replay.strips.axis import TimeText
from afterclamp.replay.strips.lanes import Bar
from afterclamp.replay.strips.layout import LimitLine, Strip, Trace, strips_of
from afterclamp.replay.strips.painter import paint_strips
from afterclamp.replay.strips.places import Places, places_of
from afterclamp.replay.strips.theme import BLACK, BLUE, DARK, PAPER, Pattern, Theme
from numpy.typing import NDArray
from PySide6.QtCore import QBuffer, QIODevice, QRectF
from PySide6.QtGui import QImage, QPageSize, QPainter, QPdfWriter
from recordings import case_of, even, recording

SIZE = (900, 300)
HOURS = 4.0
RATE = 50.0
FLUSH = (5000.0, 5002.0)
GAP = (9000.0, 9600.0)
SHORT_GAP = (30.0, 31.0)

Pixels = NDArray[np.uint32]


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    """Four hours of a 50-Hz wave between 60 and 100 with a flush of 2 s and two gaps; a 1-Hz row; a NaN-only one."""
    t = np.arange(int(HOURS * 3600 * RATE)) / RATE
    values = 80 + 20 * np.sin(2 * np.pi * 1.0 * t)
    values[(t >= FLUSH[0]) & (t < FLUSH[1])] = 150.0
    valid = ~((t >= GAP[0]) & (t < GAP[1])) & ~((t >= SHORT_GAP[0]) & (t < SHORT_GAP[1]))
    wave = even(
        "P1", np.round(values * 10).astype(np.int16), [Segment(0.0, 0, len(t), RATE, scale=0.1)], valid=valid
    )
    rows = np.full(int(HOURS * 3600), 50, np.int16)
    row = even("row", rows, [Segment(0.0, 0, len(rows), 1.0)], unit="%")
    never = even("never", rows, [Segment(0.0, 0, len(rows), 1.0)], unit="%", valid=np.zeros(len(rows), bool))
    folder = tmp_path_factory.mktemp("picture") / "case"
    with case_of(folder, recording("a", [wave, row, never])) as opened:
        yield opened


def strip(case: Case, key: str, pattern: Pattern = "solid", **rest: object) -> Strip:
    trace = Trace(case[key], BLUE, pattern, "", key)
    return Strip(key, "mmHg", (trace,), (0.0, 160.0), **rest)  # type: ignore[arg-type]


def paint(
    case: Case | None,
    span: Span,
    strips: Sequence[Strip],
    *,
    ratio: float = 1.0,
    theme: Theme = PAPER,
    **rest: object,
) -> Pixels:
    image = QImage(round(SIZE[0] * ratio), round(SIZE[1] * ratio), QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(ratio)
    painter = QPainter(image)
    paint_strips(painter, QRectF(0, 0, *SIZE), case, span, strips, theme=theme, **rest)  # type: ignore[arg-type]
    painter.end()
    return np.array(image.constBits(), copy=True).view(np.uint32).reshape(image.height(), -1)


def places(strips: Sequence[Strip]) -> Places:
    return places_of(*SIZE, strips, (), PAPER)


def inner(pixels: Pixels, strips: Sequence[Strip], number: int = 0, ratio: float = 1.0) -> Pixels:
    """The pixels of one strip."""
    at = places(strips)
    top, height = at.strips[number]
    return pixels[
        round(top * ratio) : round((top + height) * ratio), round(at.left * ratio) : round(at.right * ratio)
    ]


def pixel(colour: str) -> int:
    return 0xFF000000 | int(colour[1:], 16)


def column(t: float, span: Span, width: int) -> int:
    return int((t - span.start) / span.duration * width)


@pytest.fixture(autouse=True)
def _application(qapp: object) -> None:
    """Fonts need it."""


@pytest.mark.parametrize("pattern", ["solid", "dash", "dot", "thick"])
@pytest.mark.parametrize("ratio", [1.0, 2.0])
def test_a_flush_of_two_seconds_shows_in_the_whole_case(case: Case, ratio: float, pattern: Pattern) -> None:
    strips = [strip(case, "p1", pattern)]
    # Windows of several lengths, so that the flush falls into breaks of the pattern too.
    for length in range(13_200, 14_400, 100):
        span = Span(0.0, float(length))
        part = inner(paint(case, span, strips, ratio=ratio), strips, ratio=ratio)
        at = column(FLUSH[0], span, part.shape[1])
        # 150 of 160 is far above the 100 that the wave reaches: rows that only the flush can colour.
        above = part[round(part.shape[0] * (1 - 145 / 160)) : round(part.shape[0] * (1 - 110 / 160))]
        coloured = np.flatnonzero((above == pixel(BLUE)).all(axis=0))
        assert len(coloured)
        assert np.abs(coloured - at).max() <= 3 * ratio


@pytest.mark.parametrize("ratio", [1.0, 2.0])
def test_a_gap_is_blank_from_its_first_column_to_its_last(case: Case, ratio: float) -> None:
    strips = [strip(case, "p1")]
    part = inner(paint(case, case.span, strips, ratio=ratio), strips, ratio=ratio)
    first, last = (column(t, case.span, part.shape[1]) for t in GAP)
    inside = part[:, first + round(2 * ratio) : last - round(2 * ratio)]
    assert set(np.unique(inside).tolist()) <= {pixel(PAPER.ground), pixel(PAPER.grid)}
    for outside in (
        part[:, first - round(8 * ratio) : first - round(2 * ratio)],
        part[:, last + round(2 * ratio) : last + round(8 * ratio)],
    ):
        assert (outside == pixel(BLUE)).any(axis=0).all()


def test_no_line_crosses_a_gap_between_samples(case: Case) -> None:
    strips, span = [strip(case, "p1")], Span(29.0, 32.0)
    part = inner(paint(case, span, strips), strips)
    first, last = (column(t, span, part.shape[1]) for t in SHORT_GAP)
    inside = part[:, first + 3 : last - 3]
    assert set(np.unique(inside).tolist()) <= {pixel(PAPER.ground), pixel(PAPER.grid)}
    assert (part[:, : first - 3] != pixel(PAPER.ground)).any(axis=0).all()


@pytest.mark.parametrize("length", [20.0, 200.0])
def test_no_line_crosses_from_one_segment_to_the_next(tmp_path: Path, length: float) -> None:
    codes = np.full(10_000, 80, np.int16)
    segments = [Segment(0.0, 0, 5000, RATE), Segment(105.0, 5000, 5000, RATE)]
    strips_span = Span(102.5 - length / 2, 102.5 + length / 2)
    with case_of(tmp_path / "case", recording("a", [even("P1", codes, segments)])) as case:
        strips = [strip(case, "p1")]
        part = inner(paint(case, strips_span, strips), strips)
    first, last = (column(t, strips_span, part.shape[1]) for t in (100.0, 105.0))
    inside = part[:, first + 3 : last - 3]
    assert inside.shape[1] >= 5
    assert set(np.unique(inside).tolist()) <= {pixel(PAPER.ground), pixel(PAPER.grid)}
    assert (~np.isin(part[:, first - 2], [pixel(PAPER.ground), pixel(PAPER.grid)])).any()


def test_a_wave_far_away_is_a_light_band_with_a_line_along_its_extremes(case: Case) -> None:
    strips = [strip(case, "p1")]
    part = inner(paint(case, case.span, strips), strips)
    one = part[:, 40]
    edges = np.flatnonzero(one == pixel(BLUE))
    rows = part.shape[0] - 1
    assert edges.min() == pytest.approx((160 - 100) / 160 * rows, abs=1)
    assert edges.max() == pytest.approx((160 - 60) / 160 * rows, abs=1)
    between = one[edges.min() + 4 : edges.max() - 4]
    assert not np.isin(between, [pixel(BLUE), pixel(PAPER.ground)]).any()


def test_a_slow_row_is_a_line_at_its_value(case: Case) -> None:
    strips = [strip(case, "row")]
    part = inner(paint(case, case.span, strips), strips)
    rows = np.flatnonzero((part == pixel(BLUE)).all(axis=1))
    assert rows.tolist() == [round((160 - 50) / 160 * (part.shape[0] - 1)) + step for step in (0, 1)]


def test_a_dashed_line_has_breaks_that_show_the_ground(case: Case) -> None:
    strips = [strip(case, "row", "dash")]
    part = inner(paint(case, case.span, strips), strips)
    line = part[round((160 - 50) / 160 * (part.shape[0] - 1))]
    share = (line == pixel(BLUE)).mean()
    assert 0.4 < share < 0.9


def test_a_wave_keeps_its_peaks_in_the_breaks_of_its_pattern(case: Case) -> None:
    span = Span(100.0, 160.0)
    whole, dashed = (
        inner(paint(case, span, strips), strips)
        for strips in ([strip(case, "p1")], [strip(case, "p1", "dash")])
    )
    nothing = [pixel(PAPER.ground), pixel(PAPER.grid)]
    assert np.array_equal(np.isin(whole, nothing), np.isin(dashed, nothing))
    assert (dashed == pixel(BLUE)).any()
    assert (dashed == pixel(PAPER.faint(BLUE))).any()


def test_seconds_that_are_masked_are_hatched_and_their_trace_is_grey(case: Case) -> None:
    strips = [strip(case, "p1")]
    masked = {case["p1"].id: [(2000.0, 4000.0)]}
    part = inner(paint(case, case.span, strips, masked=masked), strips)
    first, last = (column(t, case.span, part.shape[1]) for t in (2000.0, 4000.0))
    hidden, plain = part[:, first + 2 : last - 2], part[:, last + 4 : last + 40]
    assert (hidden == pixel(PAPER.hatch)).any(axis=0).all()
    assert (hidden == pixel(PAPER.masked)).any()
    assert not (hidden == pixel(BLUE)).any()
    assert not np.isin(plain, [pixel(PAPER.hatch), pixel(PAPER.masked)]).any()


def test_masks_may_be_flags_on_the_grid_of_the_case(case: Case) -> None:
    strips = [strip(case, "p1")]
    flags = (case.grid >= 2000) & (case.grid < 4000)
    by_flags = paint(case, case.span, strips, masked={case["p1"].id: flags})
    by_pairs = paint(case, case.span, strips, masked={case["p1"].id: [(2000.0, 4000.0)]})
    assert np.array_equal(by_flags, by_pairs)


@pytest.mark.parametrize("ratio", [1.0, 2.0])
def test_the_playhead_is_one_logical_pixel_at_its_time(case: Case, ratio: float) -> None:
    strips, now = [strip(case, "p1")], 6543.0
    part = inner(paint(case, case.span, strips, ratio=ratio, playhead=now), strips, ratio=ratio)
    columns = np.flatnonzero((part == pixel(PAPER.playhead)).all(axis=0))
    assert len(columns) == round(ratio)
    assert abs(columns[0] - column(now, case.span, part.shape[1])) <= 1 * ratio


def test_a_playhead_outside_the_window_is_not_drawn(case: Case) -> None:
    strips, span = [strip(case, "p1")], Span(100.0, 200.0)
    assert np.array_equal(paint(case, span, strips, playhead=250.0), paint(case, span, strips))


def test_nothing_is_drawn_after_the_horizon(case: Case) -> None:
    view = case.until(3600.0)
    strips = [strip(view, "p1"), strip(view, "row")]
    pixels = paint(view, case.span, strips)
    for number in range(2):
        part = inner(pixels, strips, number)
        hidden = part[:, column(3600.0, case.span, part.shape[1]) + 2 :]
        assert set(np.unique(hidden).tolist()) <= {pixel(PAPER.ground), pixel(PAPER.grid)}
        assert (part[:, 5:20] == pixel(BLUE)).any()


def test_grid_lines_stand_at_the_labelled_times(case: Case) -> None:
    strips = [strip(case, "never")]
    span = Span(0.0, 600.0)
    part = inner(paint(case, span, strips), strips)
    lines = np.flatnonzero((part[2:4] == pixel(PAPER.grid)).all(axis=0))
    assert (lines / part.shape[1] * 600.0).tolist() == pytest.approx([60.0 * k for k in range(10)], abs=1)


def test_a_channel_that_never_recorded_says_so_in_words(case: Case) -> None:
    strips = [strip(case, "never")]
    part = inner(paint(case, Span(0.0, 600.0), strips), strips)
    middle = part[
        part.shape[0] // 2 - 10 : part.shape[0] // 2 + 10, part.shape[1] // 2 - 80 : part.shape[1] // 2 + 80
    ]
    assert (~np.isin(middle, [pixel(PAPER.ground), pixel(PAPER.grid)])).sum() > 100
    assert not (part == pixel(BLUE)).any()


@pytest.mark.parametrize("strips", [(), None])
def test_without_a_case_or_channels_a_sentence_stands_there(
    case: Case, strips: tuple[Strip, ...] | None
) -> None:
    pixels = paint(None if strips is None else case, Span(0.0, 1.0), ())
    assert (pixels == pixel(PAPER.ground)).mean() > 0.9
    assert (pixels != pixel(PAPER.ground)).sum() > 200


def test_what_goes_beyond_the_range_is_pointed_at(case: Case) -> None:
    low = replace(strip(case, "p1"), y_range=(0.0, 120.0))
    at = inner(paint(case, case.span, [low]), [low])
    place = column(FLUSH[0], case.span, at.shape[1])
    wedge = (at[1:8] == pixel(BLUE)).sum(axis=0)
    assert wedge[place - 2] > 0
    assert wedge[place + 2] > 0
    assert not wedge[place + 20 : place + 100].any()


def test_a_limit_is_a_line_across_the_strip(case: Case) -> None:
    strips = [strip(case, "row", limits=(LimitLine(65.0, "65 mmHg, local"),))]
    part = inner(paint(case, case.span, strips), strips)
    rows = np.flatnonzero((part == pixel(PAPER.soft_ink)).mean(axis=1) > 0.95)
    assert len(rows) == 1
    assert rows[0] == pytest.approx((160 - 65) / 160 * part.shape[0], abs=1)


def test_bars_stand_in_their_lane_at_their_times(case: Case) -> None:
    strips, at = [strip(case, "p1")], places([strip(case, "p1")])
    pixels = paint(case, case.span, strips, finds=[Bar(3600.0, 7200.0, "E05")])
    lane = pixels[5:17, at.left : at.right]
    coloured = np.flatnonzero((lane == pixel(PAPER.find)).any(axis=0))
    width = at.right - at.left
    assert coloured.min() == pytest.approx(column(3600.0, case.span, width), abs=2)
    assert coloured.max() == pytest.approx(column(7200.0, case.span, width), abs=2)


def test_uncertain_times_fade_over_two_standard_deviations(case: Case) -> None:
    strips, at = [strip(case, "p1")], places([strip(case, "p1")])
    sd = 400.0
    pixels = paint(case, case.span, strips, phases=[Bar(5000.0, 10000.0, "", sd_s=sd)])
    row = pixels[10, at.left : at.right]
    width = at.right - at.left
    before, begin, after = (column(t, case.span, width) for t in (5000 - 2.2 * sd, 5000, 5000 + 2.2 * sd))
    assert row[before] == pixel(PAPER.margin)
    assert row[after] == pixel(PAPER.phase)
    assert row[begin] not in (pixel(PAPER.margin), pixel(PAPER.phase))


def test_a_dark_ground_is_dark(case: Case) -> None:
    strips = [strip(case, "p1")]
    part = inner(paint(case, case.span, strips, theme=DARK), strips)
    assert (part == pixel(DARK.ground)).mean() > 0.3
    assert (part == pixel(DARK.trace(BLUE))).any()
    assert DARK.trace(BLACK) == "#FFFFFF"


@pytest.mark.parametrize("pattern", ["solid", "thick", "dash", "dot", "core", "step", "up", "down", "bar"])
@pytest.mark.parametrize("length", [2.0, 60.0, 7200.0])
def test_every_pattern_draws_at_every_zoom_on_screen_and_page(
    case: Case, pattern: Pattern, length: float
) -> None:
    strips, span = [strip(case, "p1", pattern)], Span(100.0, 100.0 + length)
    masked = {case["p1"].id: [(100.0 + length / 2, 100.0 + length)]}
    part = inner(paint(case, span, strips, masked=masked, selected=Span(101.0, 102.0)), strips)
    assert (~np.isin(part, [pixel(PAPER.ground), pixel(PAPER.grid)])).any(axis=0).mean() > 0.15
    assert _page(case, span, strips, masked=masked)


def _page(case: Case, span: Span, strips: Sequence[Strip], **rest: object) -> bytes:
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    writer = QPdfWriter(buffer)
    writer.setResolution(300)
    writer.setPageSize(QPageSize(QPageSize.PageSizeId.A4))
    painter = QPainter(writer)
    paint_strips(painter, QRectF(100, 100, 2000, 900), case, span, strips, vector=True, **rest)  # type: ignore[arg-type]
    painter.end()
    return bytes(buffer.data().data())


def test_a_page_holds_no_bitmap(case: Case) -> None:
    page = _page(
        case,
        case.span,
        strips_of(case),
        finds=[Bar(3600.0, 7200.0, "E05")],
        phases=[Bar(0.0, 9000.0, "bypass", sd_s=30.0)],
        marks=[Bar(100.0, 100.0, "here")],
        notes=[Bar(200.0, 200.0, "words", sd_s=17.0)],
        playhead=5000.0,
        selected=Span(100.0, 900.0),
        masked={case["p1"].id: [(100.0, 900.0)]},
        time_text=TimeText(3600.0),
    )
    assert page.startswith(b"%PDF")
    assert b"/Subtype /Image" not in page
    assert len(page) < 400_000


def test_sizes_on_a_page_are_true_at_its_resolution(case: Case) -> None:
    # The same picture twice as fine holds twice the dots: 2000 dots at 300 an inch are 640 pixels at 96.
    image = QImage(2000, 900, QImage.Format.Format_RGB32)
    image.setDotsPerMeterX(round(300 / 0.0254))
    image.setDotsPerMeterY(round(300 / 0.0254))
    painter = QPainter(image)
    strips = [strip(case, "p1")]
    paint_strips(painter, QRectF(0, 0, 2000, 900), case, case.span, strips, vector=True)
    painter.end()
    pixels = np.array(image.constBits(), copy=True).view(np.uint32).reshape(900, 2000)
    at = places_of(640, 288, strips, (), PAPER)
    top, height = at.strips[0]
    middle = round((top + height * 0.9) * 300 / 96)
    ground = np.flatnonzero(pixels[middle] == pixel(PAPER.ground))
    assert ground.min() == pytest.approx(at.left * 300 / 96, abs=4)
    assert ground.max() == pytest.approx(at.right * 300 / 96, abs=4)


@pytest.mark.parametrize("growth", [1.0, 1.6])
def test_no_title_or_value_runs_out_of_its_margin(case: Case, growth: float) -> None:
    theme = PAPER.larger(growth)
    long = Strip(
        "A strip with a very long title indeed",
        "mmHg",
        (Trace(case["p1"], BLUE, "dash", "R", "left radial"),),
        (0.0, 16000.0),
    )
    strips = [long, strip(case, "row"), strip(case, "never")]
    at = places_of(*SIZE, strips, (), theme)
    margin = paint(case, case.span, strips, theme=theme)[:, : at.left]
    assert (margin[:, :6] == pixel(theme.margin)).all()
    assert (margin[: at.strips[0][0] - 2] == pixel(theme.margin)).all()
    # Between the title and the values of the axis a gap stays free.
    first = margin[at.strips[0][0] : at.strips[0][0] + at.strips[0][1]]
    words = np.flatnonzero((first != pixel(theme.margin)).any(axis=0))
    assert np.diff(words).max() >= 4
