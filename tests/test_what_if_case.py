"""Arithmetic "what if" of a case: its numbers by hand from the keyframes, and the banner on everything it shows.

Expected numbers are computed here from the keyframes of the invented case, second by second: index x content x 10 with
1.34 mL/g and 0.003 mL/dL/mmHg (PMC7792239), saturation 1 and tension 220 mmHg of its case sheet, body surface by Du
Bois of 168 cm and 74 kg, outlet at 32 °C and more, full flow 61:55 to weaning 300:00.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.derived import Absent
from afterclamp.annotate.limits import LimitSet
from afterclamp.annotate.what_if_case import Basis, basis_of, replaced
from afterclamp.io.case import Case
from afterclamp.replay.actions import ACTIONS
from afterclamp.replay.commands import main
from afterclamp.replay.desk import Desk
from afterclamp.replay.panes.what_if_box import AS_RECORDED, TYPE_A_NUMBER, WhatIfBox
from afterclamp.sample_traces import trend
from click.testing import CliRunner
from desk_support import desk, settings, small_folder  # noqa: F401
from keyframe_case import LENGTH_S, keyframe_case, minutes
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

BANNER = "arithmetic only: the patient's response is not modelled"  # the words of the design, J3.4 no. 45
T = np.arange(LENGTH_S) + 0.5
SURFACE_M2 = 0.007184 * 168**0.725 * 74**0.425


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("what-if") / "case"
    keyframe_case(made).close()
    return made


@pytest.fixture(scope="module")
def case(folder: Path) -> Iterator[Case]:
    with Case.open(folder) as opened:
        yield opened


@pytest.fixture(scope="module")
def basis(case: Case) -> Basis:
    found = basis_of(case)
    assert isinstance(found, Basis)
    return found


def by_hand(limit: float, flow: float | None, haemoglobin: float | None) -> tuple[float, float]:
    """Seconds and area (mL/m²) below a limit while warm on full flow; the arrests all lie in the cold."""
    inside = (minutes("61:55") <= T) & (minutes("300:00") > T) & (np.asarray(trend.trend("TAO", T)) >= 32)
    flows = np.asarray(trend.trend("FLOW", T)) if flow is None else np.full(LENGTH_S, flow)
    grams = np.asarray(trend.trend("HB", T)) if haemoglobin is None else np.full(LENGTH_S, haemoglobin)
    depth = np.maximum(limit - 10 * flows / SURFACE_M2 * (1.34 * grams + 0.003 * 220), 0)[inside]
    return float(np.count_nonzero(depth > 0)), float(np.nansum(depth)) / 60


@pytest.mark.parametrize(("flow", "grams"), [(4.0, None), (None, 8.0), (4.8, 7.5)])
def test_time_and_area_with_a_value_replaced_are_those_of_the_closed_form(
    basis: Basis, flow: float | None, grams: float | None
) -> None:
    found = replaced(basis, flow_l_min=flow, haemoglobin_g_dl=grams)
    assert len(found.rows) == 5
    for one in found.rows:
        seconds, area = by_hand(one.limit.value, flow, grams)
        assert one.changed.outside_s == pytest.approx(seconds, rel=0.02, abs=20)
        assert one.changed.area == pytest.approx(area, rel=0.02, abs=3)
        assert one.changed.observed_s == one.recorded.observed_s


def test_the_recorded_side_is_the_figure(basis: Basis) -> None:
    # Table of expected figures: deficit 541 mL/m² of all seconds below 280 with an outlet of 32 °C and more.
    [row] = [one for one in replaced(basis, flow_l_min=4.4).rows if one.limit.id == "do2i-280"]
    assert row.recorded.area == pytest.approx(541, rel=0.01)


def test_no_arrest_is_filled_with_flow(basis: Basis) -> None:
    # 238:05 of established bypass less 52:30 of arrest (times of the case).
    assert basis.where_s == pytest.approx(minutes("238:05") - minutes("52:30"), abs=10)


@pytest.mark.parametrize(
    ("flow", "grams", "words"),
    [(-1.0, None, "0.05 to 10"), (None, 80.0, "2 to 25"), (None, None, "give a flow")],
)
def test_a_number_that_cannot_be_is_refused(
    basis: Basis, flow: float | None, grams: float | None, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        replaced(basis, flow_l_min=flow, haemoglobin_g_dl=grams)


def test_without_the_facts_it_says_what_is_missing(tmp_path: Path) -> None:
    with keyframe_case(tmp_path / "case", sheet=False) as bare:
        found = basis_of(bare)
    assert isinstance(found, Absent)
    assert "height and weight" in found.reason


def test_without_a_limit_of_oxygen_delivery_there_is_no_row(case: Case, tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    path.write_text(
        'name = "ours"\nversion = "1"\n[[limit]]\nid = "a"\nmeasure = "line_pressure"\nphase = "bypass"\nabove = 300\n'
        'unit = "mm[Hg]"\nstatus = "U"\nsource = "our unit"\n'
    )
    basis = basis_of(case, LimitSet.load(path))
    assert isinstance(basis, Basis)
    assert replaced(basis, flow_l_min=4.0).rows == ()


# -- command ------------------------------------------------------------------------------------------


def test_the_command_prints_the_banner_first_and_last(folder: Path) -> None:
    result = CliRunner().invoke(main, ["what-if", str(folder), "--flow", "4.8"])
    assert result.exit_code == 0, result.output
    lines = result.output.strip().splitlines()
    assert lines[0].lower() == lines[-1].lower() == BANNER
    assert "With pump flow 4.8 L/min." in result.output
    assert "below 280 mL/min/m²" in result.output


def test_json_has_the_banner_in_every_row(folder: Path) -> None:
    result = CliRunner().invoke(main, ["what-if", str(folder), "--haemoglobin", "8", "--json"])
    document = json.loads(result.output)
    assert document["banner"] == BANNER
    assert {row["banner"] for row in document["rows"]} == {BANNER}
    assert document["replaced"] == "haemoglobin 8 g/dL"


@pytest.mark.parametrize("numbers", [(), ("--flow", "400")])
def test_wrong_use_ends_with_two(folder: Path, numbers: tuple[str, ...]) -> None:
    assert CliRunner().invoke(main, ["what-if", str(folder), *numbers]).exit_code == 2


# -- box ----------------------------------------------------------------------------------------------


@pytest.fixture
def box(qtbot: QtBot, basis: Basis) -> WhatIfBox:
    made = WhatIfBox(basis)
    qtbot.addWidget(made)
    made.show()
    return made


def test_the_box_begins_with_what_was_recorded_and_nothing_to_copy(box: WhatIfBox) -> None:
    assert box.flow.text() == box.haemoglobin.text() == AS_RECORDED
    assert box.told.text().startswith(TYPE_A_NUMBER)
    assert box.table.rowCount() == 0
    assert not box.as_text_button.isEnabled()
    assert box.as_text() == ""


def test_a_number_fills_the_table_between_two_banners_and_goes_with_every_copy(box: WhatIfBox) -> None:
    box.flow.setValue(4.8)
    assert box.table.rowCount() == 5
    for banner in (box.banner, box.banner_below):
        assert banner.isVisible()
        assert banner.text().lower() == BANNER
    box.copy_text()
    copied = QGuiApplication.clipboard().text().splitlines()
    assert copied[0].lower() == copied[-1].lower() == BANNER
    image = box.image()
    assert image.height() > box.banner_below.geometry().bottom()  # the image holds both banners
    box.flow.setValue(box.flow.minimum())
    assert box.table.rowCount() == 0


def test_enter_settles_the_number_and_leaves_the_box_open(qtbot: QtBot, box: WhatIfBox) -> None:
    box.flow.setFocus()
    box.flow.selectAll()
    qtbot.keyClicks(box.flow, "4.8")
    qtbot.keyClick(box.flow, Qt.Key.Key_Return)
    assert box.isVisible()
    assert box.flow.value() == 4.8
    assert box.table.rowCount() == 5


def test_the_box_says_why_there_is_nothing(qtbot: QtBot) -> None:
    made = WhatIfBox(Absent("no arterial saturation on the case sheet"))
    qtbot.addWidget(made)
    assert made.told.text() == "Oxygen delivery cannot be computed: no arterial saturation on the case sheet."
    assert made.flow.isHidden()
    assert not made.as_image_button.isEnabled()


def test_the_desk_opens_it_by_its_command(desk: Desk) -> None:
    [action] = [one for one in ACTIONS if one.id == "what_if"]
    assert action.keys
    desk.actions_by_id["what_if"].trigger()
    assert isinstance(desk.box, WhatIfBox)
