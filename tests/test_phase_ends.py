"""Each end of a phase has its own ± and its own author: what nobody touched stays a proposal."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import pytest
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.annotate.phases import overlay
from afterclamp.replay.panes.ladder import PhaseLadder
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot
from test_phase_times import at, drag, face, ladder, pick  # noqa: F401

# ruff: noqa: F811

WARMING = Phase(
    "warming",
    Boundary(6000.0, "outlet above venous", channel="outlet_temperature", source="pump", sampling_sd_s=2.0),
    Boundary(12_000.0, "core at its target", sampling_sd_s=224.0 / 1.96),
)


def sent_by(qtbot: QtBot, ladder: PhaseLadder, key: str, t: float) -> dict[str, Any]:
    ladder.set_playhead(t)
    with qtbot.waitSignal(ladder.phase_set) as sent:
        qtbot.keyClicks(ladder, key)
    return dict(json.loads(json.dumps(sent.args[0])))


def test_an_end_that_nobody_touched_stays_a_proposal_with_its_own_doubt(
    qtbot: QtBot, ladder: PhaseLadder
) -> None:
    # Issue 5: a person decides; what they did not look at they did not decide.
    ladder.set_phases([WARMING])
    ladder.choose(next(rung for rung in ladder.rungs if rung.name == "warming"))
    payload = sent_by(qtbot, ladder, "]", 11_500.0)
    (phase,) = overlay([WARMING], [("anna", payload)])
    assert phase.start == WARMING.start
    assert phase.ends_by == ("", "anna")
    assert phase.confirmed_by == ""
    assert (phase.end_s, phase.end.unc_s) == (11_500.0, 0.0), "at the playhead: as exact as it was said"
    ladder.set_phases([phase])
    tip = ladder.tip(next(rung for rung in ladder.rungs if rung.name == "warming"))
    assert "start proposed, end set by anna" in tip


def test_the_other_end_set_later_keeps_who_set_the_first(qtbot: QtBot, ladder: PhaseLadder) -> None:
    ladder.set_phases([WARMING])
    ladder.choose(next(rung for rung in ladder.rungs if rung.name == "warming"))
    first = sent_by(qtbot, ladder, "]", 11_500.0)
    ladder.set_phases(overlay([WARMING], [("anna", first)]))
    second = sent_by(qtbot, ladder, "[", 6100.0)
    (phase,) = overlay([WARMING], [("bob", second)])  # it replaces the first in the log
    assert phase.ends_by == ("bob", "anna")
    assert phase.confirmed_by == "bob and anna"
    assert phase.start.unc_s == phase.end.unc_s == 0.0, "no ± of the proposal is left"


def test_an_older_edit_is_read_as_its_author_meant_it() -> None:
    old = {"name": "warming", "index": 0, "start_s": 6100.0, "end_s": 11_500.0, "sd_s": 3.0}
    (phase,) = overlay([WARMING], [("anna", old)])
    assert phase.confirmed_by == "anna"
    assert phase.start.unc_s == phase.end.unc_s == pytest.approx(3.0 * 1.96, rel=1e-3)


def test_an_untouched_end_stands_where_it_did_once_its_proposal_is_gone() -> None:
    edit = {"name": "warming", "index": 0, "start_s": 6000.0, "end_s": 11_500.0,
            "start_sd_s": 2.0, "end_sd_s": 0.0, "start_by": ""}  # fmt: skip
    far = replace(WARMING, start=replace(WARMING.start, time_s=100.0), end=replace(WARMING.end, time_s=200.0))
    for proposals in ([], [far]):  # none of that number, or another one
        (phase,) = overlay(proposals, [("anna", edit)])
        assert (phase.start_s, phase.start.unc_s) == (6000.0, pytest.approx(2.0 * 1.96, rel=1e-3))
        assert phase.ends_by == ("", "anna")


def test_a_dragged_end_has_the_doubt_of_the_pointer(qtbot: QtBot, ladder: PhaseLadder) -> None:
    drag(qtbot, ladder, at(ladder, 18_000.0, 0), at(ladder, 15_000.0, 0))
    with qtbot.waitSignal(ladder.phase_set) as sent:
        qtbot.mouseRelease(ladder, Qt.MouseButton.LeftButton, pos=at(ladder, 15_000.0, 0))
    left, right = ladder._bounds()
    pixel = 21_000.0 / (right - left)
    # Anywhere within one pixel alike: a twelfth of its square is the variance of an even spread (textbook).
    assert sent.args[0]["end_sd_s"] == pytest.approx(pixel / math.sqrt(12), rel=1e-3)
    assert sent.args[0]["end_s"] == round(sent.args[0]["end_s"]), "no hundredths from a pixel of many seconds"
    assert sent.args[0]["start_by"] == ""


def test_confirming_makes_both_ends_the_persons(qtbot: QtBot, ladder: PhaseLadder) -> None:
    ladder.set_phases([WARMING])
    ladder.choose(next(rung for rung in ladder.rungs if rung.name == "warming"))
    with qtbot.waitSignal(ladder.phase_set) as sent:
        pick(ladder, "&Confirm these times")
    (phase,) = overlay([WARMING], [("anna", sent.args[0])])
    assert phase.ends_by == ("anna", "anna")
    assert phase.end.unc_s == pytest.approx(224.0, rel=1e-3), "what was confirmed is as uncertain as it was"
