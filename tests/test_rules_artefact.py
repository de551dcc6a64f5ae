"""Artefacts as finds: one for each, channels of one source told together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from afterclamp.annotate.finds import find_in
from afterclamp.annotate.view import View
from afterclamp.annotate.wave_artefacts import Artefact
from trend_case import demo_view, minutes, trend_view


def seen(code: str, start: float, end: float, **evidence: object) -> Artefact:
    return Artefact(code, start, end, dict(evidence))


def with_artefacts(**by_channel: tuple[Artefact, ...]) -> View:
    return replace(demo_view(), artefacts=by_channel)


def test_artefacts_need_no_site() -> None:
    view = trend_view(100, {"arterial": [(0, 70), (100, 70)]})
    finds = find_in(replace(view, artefacts={"arterial": (seen("A1", 20, 40), seen("A2", 60, 62))}))
    assert [(f.code, f.start_s, f.end_s) for f in finds] == [("A1", 20, 40), ("A2", 60, 62)]
    assert [f.site for f in finds] == ["", ""]
    assert "E01 not looked for: no believed arterial site" in finds.not_looked_for


def test_a_cable_that_is_out_is_told_once_with_all_its_channels() -> None:
    gap = seen("A9", minutes("172:00"), minutes("173:10"), what="gap")
    late = seen("A9", minutes("172:00") + 1, minutes("173:10") + 1, what="gap")
    view = with_artefacts(pump_flow=(gap,), line_pressure=(late,), reservoir_volume=(gap,))
    (find,) = find_in(view).of("A9")
    assert set(find.channels) == {"pump_flow", "line_pressure", "reservoir_volume"}
    assert (find.start_s, find.end_s) == (minutes("172:00"), minutes("173:10") + 1)


def test_gaps_of_two_sources_stay_two() -> None:
    gap = seen("A9", 10_320, 10_390, what="gap")
    assert len(find_in(with_artefacts(pump_flow=(gap,), pa=(gap,))).of("A9")) == 2


def test_gaps_at_other_times_stay_two() -> None:
    view = with_artefacts(
        pump_flow=(seen("A9", 10_320, 10_390, what="gap"),),
        line_pressure=(seen("A9", 10_320, 10_600, what="gap"),),
    )
    assert len(find_in(view).of("A9")) == 2


@pytest.mark.parametrize(("length", "expected"), [(1.5, 0), (2.0, 1)])
def test_a_gap_of_a_second_or_so_is_not_told(length: float, expected: int) -> None:
    view = with_artefacts(pump_flow=(seen("A9", 1000.0, 1000.0 + length, what="gap"),))
    assert len(find_in(view).of("A9")) == expected


def test_the_level_meanwhile_is_told_by_what_was_seen_of_the_wave_or_of_what_is_not_masked() -> None:
    view = replace(trend_view(100, {"arterial": [(0, 70), (100, 70)]}), masked={})
    told = {
        "A1": (seen("A1", 20, 40, level_mmhg=0.4), 0.4),
        "A2": (seen("A2", 60, 62, plateau_mmhg=290.0), 290.0),
        "A4": (seen("A4", 20, 80), 70.0),
    }
    for code, (one, level) in told.items():
        (find,) = find_in(replace(view, artefacts={"arterial": (one,)})).of(code)
        assert [find.evidence[when] for when in ("before", "during", "after")] == [70.0, level, 70.0]
    hidden = {"arterial": np.where((np.arange(100) >= 20) & (np.arange(100) < 40), np.nan, 70.0)}
    (find,) = find_in(replace(view, values=hidden, artefacts={"arterial": (seen("A8", 20, 40),)})).of("A8")
    assert find.evidence["during"] is None


def test_what_the_other_sites_did_meanwhile_is_said() -> None:
    zero = seen("A1", minutes("40:00"), minutes("40:20"))
    assert find_in(with_artefacts(left_radial=(zero,))).of("A1")[0].evidence["other_sites"] == "steady"
    fall = seen("A1", minutes("131:30"), minutes("132:00"))
    assert find_in(with_artefacts(left_radial=(fall,))).of("A1")[0].evidence["other_sites"] == "moved"


def test_a_venous_saturation_blank_without_flow_is_no_gap_and_one_on_full_flow_is() -> None:
    # The case's own rule: the saturation is blank where the flow is under 0.3 L/min.
    still = seen("A9", minutes("131:00"), minutes("149:34"), what="gap")
    flowing = seen("A9", minutes("110:00"), minutes("111:00"), what="gap")
    view = with_artefacts(venous_saturation=(still, flowing))
    assert [find.start_s for find in find_in(view).of("A9")] == [minutes("110:00")]
