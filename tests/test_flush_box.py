"""Flush response on the desk and on the command line: the ring, where it lies, what it means, copied.

14.7 Hz and 0.22 are what the left radial line of the demo is made with (J6.3, J6.5); 22 Hz and 0.35 its femoral one.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.finds import find
from afterclamp.annotate.flushes import flushes
from afterclamp.io import Case, bring_in
from afterclamp.replay.commands import main
from afterclamp.replay.desk import Desk
from afterclamp.replay.evidence_words import facts_of
from afterclamp.replay.flush_words import HEADINGS, NO_FLUSH
from afterclamp.replay.panes.flush_box import FlushBox
from click.testing import CliRunner
from desk_support import desk, settings, small_folder  # noqa: F401
from line_case import case_with, course, planted, waves_of
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

FLUSHED = ("40:12", "40:18", "262:03", "312:40")  # ends of the flushes and of the sample in J6.5


@pytest.fixture
def box(qtbot: QtBot, demo_case: Case) -> FlushBox:
    box = FlushBox(demo_case, flushes(demo_case))
    box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose, on=False)
    qtbot.addWidget(box)
    with qtbot.waitExposed(box):
        box.show()
    return box


@pytest.fixture
def femoral(tmp_path: Path) -> Iterator[Case]:
    """A femoral line of 22 Hz and 0.35, flushed at 100 s."""
    from dataclasses import replace

    one = course("FEM", rate_hz=125)
    line = replace(one.pressures["FEM"], natural_hz=22.0, damping=0.35)
    one = replace(one, pressures={"FEM": line})
    waves = waves_of(one)
    planted(one, waves, "FEM", "flush", 100.0, 3.0, 290.0)
    with case_with(tmp_path, one, waves) as case:
        yield case


def test_every_flush_of_the_demo_is_listed_with_its_response(demo_case: Case) -> None:
    found = flushes(demo_case)
    assert [one.line for one in found] == ["left_radial"] * 4
    for one, time in zip(found, FLUSHED, strict=True):
        minutes, seconds = map(int, time.split(":"))
        assert one.release_s == pytest.approx(60 * minutes + seconds, abs=2)
        assert one.response.natural_frequency_hz == pytest.approx(14.7, abs=1.0)  # J3.3 row 26
        assert one.response.damping_ratio == pytest.approx(0.22, abs=0.04)
        assert abs(one.response.natural_frequency_hz - 14.7) <= one.response.natural_frequency_pm
        assert one.adequacy.word == "rings"  # more than two oscillations: J4.1, A4


def test_a_femoral_line_is_told_apart(femoral: Case) -> None:
    [one] = flushes(femoral)
    assert one.response.natural_frequency_hz == pytest.approx(22.0, abs=1.0)
    assert one.response.damping_ratio == pytest.approx(0.35, abs=0.04)
    assert one.adequacy.word == "adequate"
    assert "24 Hz" in one.adequacy.why


def test_the_find_of_a_flush_says_it_in_words(demo_case: Case) -> None:
    one = find(demo_case).of("A2")[0]
    facts = {fact.label: fact.text for fact in facts_of(one)}
    assert "14.7 ± 0.2 Hz" in facts["Flush response"]
    assert "ommon practice" in facts["By whose limit"]
    assert not any("hz" in label.lower() or "pm" in label.lower().split() for label in facts)


def test_a_row_says_line_time_frequency_damping_meaning_and_source(box: FlushBox, demo_case: Case) -> None:
    first = [box.table.item(0, column).text() for column in range(len(HEADINGS))]
    assert first[0] == "left radial"
    assert first[1] == demo_case.clock_text(flushes(demo_case)[0].release_s)
    assert first[2].startswith("14.7 ±")
    assert first[5] == "rings"
    assert "no source" in first[6]
    assert "14.7" in box.told.text()


def test_axes_have_names_and_units(box: FlushBox) -> None:
    def label(plot: object, side: str) -> str:
        return str(plot.getPlotItem().getAxis(side).labelText)  # type: ignore[attr-defined]

    assert label(box.chart, "bottom") == "natural frequency (Hz)"
    assert "damping" in label(box.chart, "left")
    assert label(box.ring, "bottom").endswith("(s)")
    assert label(box.ring, "left").endswith("(mmHg)")


def test_the_ring_is_drawn_with_the_peaks_that_were_used(box: FlushBox) -> None:
    x, y = box.ring.marks.getData()
    response = box.found[0].response
    assert len(x) == len(response.peaks)
    assert (x > 0).all()
    assert (np.diff(x) < 0.05).all()  # half a cycle of 14.7 Hz is 34 ms
    values = box.found[0].values[(box.found[0].t >= -0.02) & (box.found[0].t < 0.5)]
    # A turning point between two samples lies beyond them, by less than a tenth of the swing.
    assert y.min() == pytest.approx(values.min(), abs=10)
    assert "half-cycle ratio 0.5" in box.ring.getPlotItem().titleLabel.text


def test_the_chart_holds_every_flush_and_marks_the_selected_one(box: FlushBox, qtbot: QtBot) -> None:
    qtbot.keyClick(box.table, Qt.Key.Key_Down)
    assert box.table.currentRow() == 1
    assert box.current is box.found[1]
    spots = box.chart.points.points()
    assert len(spots) == 4
    largest = max(spots, key=lambda spot: spot.size())
    assert largest.pos().x() == pytest.approx(box.found[1].response.natural_frequency_hz)
    assert sum(spot.size() == largest.size() for spot in spots) == 1


def test_enter_goes_to_the_flush(box: FlushBox, qtbot: QtBot) -> None:
    with qtbot.waitSignal(box.gone_to) as gone:
        qtbot.keyClick(box.table, Qt.Key.Key_Return)
    assert gone.args == [pytest.approx(40 * 60 + 12, abs=1)]


def test_copied_as_text_and_as_an_image(box: FlushBox, qtbot: QtBot) -> None:
    qtbot.keyClick(box.table, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    text = QGuiApplication.clipboard().text()
    assert text.count("left radial") == 8  # each in the table, and in its sentence
    assert "published" in text
    box.as_image_button.click()
    assert QGuiApplication.clipboard().image().width() >= box.width()


def test_only_limits_with_a_source_are_drawn_and_the_others_are_said(box: FlushBox) -> None:
    assert "no primary source" in box.limits.text()
    assert "1981 chart are not drawn" in box.limits.text()


def test_a_case_without_a_flush_says_so(qtbot: QtBot, tmp_path: Path) -> None:
    one = course("LRAD", seconds=60)
    with case_with(tmp_path, one, waves_of(one)) as case:
        box = FlushBox(case, flushes(case))
        qtbot.addWidget(box)
        assert box.told.text() == NO_FLUSH
        assert not box.as_text_button.isEnabled()
        assert box.current is None


def test_a_flush_sampled_too_slowly_says_why(tmp_path: Path, qtbot: QtBot) -> None:
    one = course("LRAD", rate_hz=50)
    waves = waves_of(one)
    planted(one, waves, "LRAD", "flush", 100.0, 3.0, 290.0)
    with case_with(tmp_path, one, waves) as case:
        [found] = flushes(case)
        assert found.adequacy.word == "cannot tell"
        assert "50 times a second" in found.response.cannot_tell
        box = FlushBox(case, [found])
        qtbot.addWidget(box)
        assert "1 of 1 flushes cannot be told" in box.chart.getPlotItem().titleLabel.text
        assert box.table.item(0, 2).text() == "–"


def test_the_key_opens_it_on_the_desk(desk: Desk, qtbot: QtBot) -> None:
    qtbot.keyClick(
        desk, Qt.Key.Key_F, Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier
    )
    assert isinstance(desk.box, FlushBox)
    desk.box.reject()


def test_the_command_line_lists_them(demo_folder: Path) -> None:
    text = CliRunner().invoke(main, ["flushes", str(demo_folder)]).output
    assert text.count("left radial") == 8
    assert "14.7 ± 0.2" in text
    rows = json.loads(CliRunner().invoke(main, ["flushes", str(demo_folder), "--json"]).output)
    assert len(rows) == 4
    assert rows[0]["natural_frequency_hz"] == pytest.approx(14.7, abs=1.0)
    assert rows[0]["adequacy"] == "rings"
    assert rows[0]["source"]


def test_the_flushes_of_one_recorded_line_agree(real_traces: Path, tmp_path: Path) -> None:
    # Four flushes within 25 s of one line (record 3975656_0013): it has one natural frequency, wherever that lies.
    with bring_in(
        [real_traces / "arterial_segments"], tmp_path / "case", accept_proposals=True, keep_identity=True
    ) as case:
        told = [
            one.response
            for one in flushes(case)
            if one.channel.startswith("3975656_0013") and one.response.told
        ]
        assert len(told) == 4
        frequencies = [one.natural_frequency_hz for one in told]
        assert max(frequencies) < 1.2 * min(frequencies)
