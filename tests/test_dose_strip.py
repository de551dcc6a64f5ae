"""The dose strip on the desk: colours, what each pixel shows, hover, keeping, and the switch of arrests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyqtgraph
import pytest
from afterclamp.annotate.dose import (
    EXCLUDED,
    INSIDE,
    MASKED,
    MISSING,
    NOT_LOOKED_AT,
    OUTSIDE,
    Counted,
    Dose,
    dose,
)
from afterclamp.annotate.figures import Figure
from afterclamp.annotate.measures.exposure import exposure
from afterclamp.annotate.series import Series, from_values
from afterclamp.io.case import Span
from afterclamp.replay.desk import Desk
from afterclamp.replay.dose_words import key_of, title_of
from afterclamp.replay.panes.clock_face import ClockFace
from afterclamp.replay.panes.dose_pane import EMPTY, MOST_KEPT, NOT_HERE, DosePane
from afterclamp.replay.strips.dose_colours import STEPS, depth_colours, round_up, step_of
from afterclamp.replay.strips.dose_strip import BAR, DoseStrip, DoseWords
from afterclamp.replay.strips.theme import DARK, PAPER, luminance
from desk_support import desk, settings, shown, small_folder  # noqa: F401
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor, QGuiApplication
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

LEFT, WIDE = 100, 300  # pixels: a pixel a second in these strips


# -- colours ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("theme", [PAPER, DARK])
def test_more_depth_is_always_darker_on_paper_and_lighter_in_the_dark(theme) -> None:
    light = [luminance(colour) for colour in depth_colours(theme)]
    assert len(light) == STEPS
    steps = np.diff(light)
    assert np.all(steps > 0) if theme.dark else np.all(steps < 0)


def test_the_map_is_the_published_one() -> None:
    # Oracle: cividis (PLoS ONE 2018;13:e0199239) as pyqtgraph carries it, in 256 steps; ours is straight between 33.
    ours = [QColor(one) for one in depth_colours(DARK)]
    theirs = pyqtgraph.colormap.get("cividis").map(np.linspace(0, 1, STEPS))[:, :3]
    apart = np.abs(np.array([(one.red(), one.green(), one.blue()) for one in ours]) - theirs)
    assert apart.max() <= 6


@pytest.mark.parametrize(
    ("deepest", "end"), [(0, 1), (0.59, 0.6), (1, 1), (4.4, 5), (24.7, 25), (25.1, 30), (280, 300), (44, 50)]
)
def test_the_scale_ends_at_the_next_round_number(deepest, end) -> None:
    assert round_up(deepest) == pytest.approx(end)


def test_depth_beyond_the_scale_has_the_last_colour() -> None:
    assert step_of(np.array([0.0, np.nan, 12.5, 25.0, 60.0]), 25.0).tolist() == [0, 0, 32, 63, 63]


# -- one strip -------------------------------------------------------------------------------------


def series() -> Series:
    """300 s: 70 mmHg; 60 from 50 to 60; one second of 45 at 200; not recorded 100 to 120; masked 150 to 160."""
    values = np.full(300, 70.0)
    values[50:60] = 60
    values[200] = 45
    values[100:120] = np.nan
    made = from_values(0.0, values, unit="mm[Hg]", site="femoral")
    return made.masked_where((np.arange(300) >= 150) & (np.arange(300) < 160))


def counted(exclude: tuple[tuple[float, float], ...] = ((220.0, 280.0),), limit: float = 65.0) -> Counted:
    return Counted(series(), limit, False, False, ((10.0, 290.0),), exclude)


def strip_of(qtbot: QtBot, found: Dose | None = None) -> DoseStrip:
    words = DoseWords("MAP below 65 mmHg", "mmHg", "mmHg·min", "65 mmHg")
    strip = DoseStrip(found or dose(counted()), words, lambda t: f"{t:.0f} s")
    qtbot.addWidget(strip)
    strip.set_axis(lambda: (float(LEFT), float(LEFT + WIDE)))
    strip.set_span(Span(0.0, 300.0))
    strip.resize(LEFT + WIDE + 8, strip.sizeHint().height())
    strip.set_arrests([(220.0, 280.0)])
    strip.set_playhead(299.0)
    return strip


def test_each_pixel_shows_what_its_second_is(qtbot: QtBot) -> None:
    state, depth = strip_of(qtbot).columns(300)
    for second, code in (
        (5, NOT_LOOKED_AT), (20, INSIDE), (55, OUTSIDE), (110, MISSING), (155, MASKED), (200, OUTSIDE), (250, EXCLUDED),
        (295, NOT_LOOKED_AT),
    ):  # fmt: skip
        assert state[second] == code
    assert depth[55] == 5
    assert depth[200] == 20


def test_a_second_does_not_vanish_in_a_pixel_of_many(qtbot: QtBot) -> None:
    state, depth = strip_of(qtbot).columns(10)  # 30 s each: the second at 200 lies in the seventh
    assert state[6] == OUTSIDE
    assert depth[6] == 20
    assert state[0] == INSIDE  # 10 to 30 of it
    assert state[5] == MASKED


def test_the_picture_differs_where_seconds_do(qtbot: QtBot) -> None:
    picture = strip_of(qtbot).grab().toImage()
    bottom = picture.height() - 5

    def at(second: float, up: int = 2) -> str:
        return picture.pixelColor(LEFT + int(second), bottom - up).name().upper()

    assert at(20) == PAPER.ground
    assert at(55) == depth_colours(PAPER)[step_of(np.array([5.0]), 20.0)[0]]
    assert at(200) == depth_colours(PAPER)[-1]
    # Deeper is taller as well: the colour is not the only sign.
    assert at(200, BAR - 2) == depth_colours(PAPER)[-1]
    assert at(55, BAR - 2) == PAPER.ground
    assert at(110) == PAPER.ground
    assert {at(155, up) for up in range(1, BAR - 2)} <= {PAPER.hatch, PAPER.masked}
    assert at(5) == PAPER.margin
    # Left out: plain ground below a bracket.
    assert at(225) == PAPER.ground
    inks = {picture.pixelColor(LEFT + 250, y).name().upper() for y in range(picture.height())}
    assert PAPER.soft_ink in inks


def test_hover_tells_depth_and_running_area(qtbot: QtBot) -> None:
    # By hand: ten seconds 5 mmHg deep are 50/60 mmHg·min, one of 20 makes 70/60.
    strip = strip_of(qtbot)
    assert "5.0 mmHg below 65 mmHg" in strip.tip(55.5)
    assert "area up to here: 0.83 of 1.17 mmHg·min" in strip.tip(90)
    assert "area up to here: 1.17 of 1.17 mmHg·min" in strip.tip(200.5)
    assert "masked as artefact" in strip.tip(155)
    assert "not recorded" in strip.tip(110)
    assert "left out, an arrest" in strip.tip(250)
    assert "not in the part of the case" in strip.tip(5)
    assert "inside" in strip.tip(20)


def test_a_click_and_enter_go_there(qtbot: QtBot) -> None:
    strip = strip_of(qtbot)
    gone: list[float] = []
    strip.jumped.connect(gone.append)
    qtbot.mouseClick(strip, Qt.MouseButton.LeftButton, pos=QPoint(LEFT + 55, strip.height() - 8))
    assert gone == [pytest.approx(55, abs=1)]
    qtbot.mouseClick(strip, Qt.MouseButton.LeftButton, pos=QPoint(20, strip.height() - 8))
    assert len(gone) == 1
    strip.set_playhead(60.0)
    qtbot.keyClick(strip, Qt.Key.Key_Return)
    strip.set_playhead(200.0)
    qtbot.keyClick(strip, Qt.Key.Key_Return)
    assert gone[1:] == [200.0, 50.0]


def test_a_window_beyond_the_record_shows_nothing_there(qtbot: QtBot) -> None:
    strip = strip_of(qtbot)
    strip.set_span(Span(-300.0, 600.0))
    state, _ = strip.columns(900)
    assert set(state[:300].tolist()) == {NOT_LOOKED_AT}
    assert state[355] == OUTSIDE
    assert set(state[600:].tolist()) == {NOT_LOOKED_AT}
    strip.grab()


# -- the pane --------------------------------------------------------------------------------------


def figure(
    limit: float = 65.0, part: str = "", exclude: tuple[tuple[float, float], ...] = ((220.0, 280.0),)
) -> Figure:
    """A row as it would be printed for the made series."""
    what = counted(exclude, limit)
    found = exposure(what.series, below=limit, within=what.within, exclude=exclude)
    return Figure(
        "mean_arterial_pressure",
        "established",
        value=found.area,
        unit="mm[Hg].min",
        limit=limit,
        limit_unit="mm[Hg]",
        side="below",
        limit_id=f"map-{limit:g}",
        outside_s=found.outside_s,
        observed_s=found.observed_s,
        excluded_s=found.excluded_s,
        site="femoral",
        area=found.area,
        part=part,
        counted=what,
    )


MEAN = Figure("mean_pressure", "record", value=70.0, unit="mm[Hg]", observed_s=290.0)


@pytest.fixture
def pane(qtbot: QtBot) -> DosePane:
    made = DosePane(ClockFace())
    qtbot.addWidget(made)
    made.set_axis(lambda: (float(LEFT), float(LEFT + WIDE)))
    made.set_span(Span(0.0, 300.0))
    made.resize(900, 120)
    made.set_figures([figure(), figure(72.0), MEAN])
    return made


def test_nothing_chosen_says_what_to_choose(pane: DosePane) -> None:
    assert pane.isHidden()  # until somebody wants it, it takes no room
    pane.set_wanted(True)
    assert not pane.isHidden()
    assert pane.words.text() == EMPTY
    pane.choose(MEAN)
    assert pane.words.text() == NOT_HERE
    assert pane.strips == []


def test_the_chosen_figure_is_shown_with_limit_area_and_minutes(pane: DosePane) -> None:
    pane.choose(figure())
    assert not pane.isHidden()
    [strip] = pane.strips
    # By hand: 11 s of the 190 s observed (280 less 60 left out, 20 missing and 10 masked).
    assert (
        title_of(figure()) == "MAP below 65 mmHg: 1.17 mmHg·min, 0.2 of 3.2 min observed; established bypass"
    )
    assert strip.accessibleName().endswith(title_of(figure()))
    pane.choose(None)
    assert pane.isHidden()


def test_kept_strips_stand_below_each_other_and_can_be_taken_away(pane: DosePane) -> None:
    pane.choose(figure())
    pane.keep.click()
    assert not pane.keep.isEnabled()
    pane.choose(figure(72.0))
    assert [strip.dose.limit for strip in pane.strips] == [65.0, 72.0]
    pane.choose(None)
    assert [strip.dose.limit for strip in pane.strips] == [65.0]
    pane.let_go(key_of(figure()))
    assert pane.strips == []
    assert pane.kept == []


def test_only_so_many_are_kept(pane: DosePane) -> None:
    rows = [figure(limit) for limit in (61.0, 62.0, 63.0, 64.0, 66.0)]
    pane.set_figures(rows)
    said: list[str] = []
    pane.said.connect(said.append)
    for row in rows:
        pane.choose(row)
        pane.keep_chosen()
    assert len(pane.kept) == MOST_KEPT
    assert len(said) == 1


def test_a_kept_strip_waits_for_a_case_that_has_its_figure(pane: DosePane) -> None:
    pane.set_kept([key_of(figure(66.0))])
    assert pane.strips == []
    pane.set_figures([figure(66.0)])
    assert len(pane.strips) == 1


def test_the_switch_counts_arrests_in_and_says_what_that_makes(pane: DosePane) -> None:
    # By hand: above the limit of 72 each inside second is 2 deep, so the 60 s of the arrest add 2 mmHg·min.
    right, wrong = figure(72.0), figure(72.0, "arrests counted in", ())
    pane.set_figures([right, wrong, figure()])
    pane.choose(figure())
    assert pane.with_arrests.isHidden()  # no such row for this limit
    pane.choose(right)
    assert not pane.with_arrests.isHidden()
    left_out = pane.strips[0].dose.area
    assert pane.contrast.isHidden()
    pane.with_arrests.setChecked(True)
    assert pane.strips[0].dose.area == pytest.approx(left_out + 2)
    assert not pane.contrast.isHidden()
    assert "with arrests left out" in pane.contrast.text()
    assert "arrests counted in" in pane.strips[0].words.title
    pane.with_arrests.setChecked(False)
    assert pane.strips[0].dose.area == pytest.approx(left_out)


def test_a_choice_follows_its_figure_when_figures_are_worked_out_again(pane: DosePane) -> None:
    pane.choose(figure())
    pane.set_figures([replace(figure(), area=3.0)])
    assert "3.00 mmHg·min" in pane.strips[0].words.title
    pane.set_figures([])
    assert pane.strips == []


def test_long_words_do_not_widen_the_column_of_the_views(pane: DosePane) -> None:
    pane.choose(figure())
    before = pane.minimumSizeHint().width()
    pane.words.setText("a long sentence " * 50)
    pane.contrast.setText("a long sentence " * 50)
    pane.contrast.show()
    assert pane.minimumSizeHint().width() == before


def test_the_copied_image_holds_the_strips(pane: DosePane) -> None:
    pane.choose(figure())
    pane.show()
    pane.copy_image()
    copied = QGuiApplication.clipboard().image()
    assert copied.height() >= pane.strips[0].height()
    assert copied.width() == pane.width()


# -- on the desk -----------------------------------------------------------------------------------


def test_the_selected_row_is_drawn_and_a_click_goes_there(desk: Desk, qtbot: QtBot) -> None:
    desk.session.take("figures", [figure(), MEAN])
    assert desk.views.dose.isHidden()
    desk.tabs.setCurrentWidget(desk.figures)
    desk.figures.select("0")
    [strip] = desk.views.dose.strips
    assert strip.isVisible()
    left, right = desk.views.long.axis_bounds()
    at = left + (55 - desk.views.long.span.start) / desk.views.long.span.duration * (right - left)
    qtbot.mouseClick(strip, Qt.MouseButton.LeftButton, pos=QPoint(round(at), strip.height() - 8))
    assert desk.playhead.time == pytest.approx(55, abs=3)


def test_one_key_hides_and_shows_the_strips(desk: Desk) -> None:
    desk.session.take("figures", [figure()])
    desk.figures.select("0")
    desk.actions_by_id["dose"].trigger()
    assert desk.views.dose.isHidden()
    desk.actions_by_id["dose"].trigger()
    assert desk.views.dose.isVisible()


def test_what_is_kept_is_there_next_time(qtbot: QtBot, settings) -> None:
    first = shown(qtbot, settings)
    first.views.dose.set_kept([key_of(figure())])
    first.views.dose.set_wanted(False)
    first.close()
    second = shown(qtbot, settings)
    assert second.views.dose.kept == [key_of(figure())]
    assert second.views.dose.wanted is False
    second.close()
