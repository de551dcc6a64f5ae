"""The one-second view of a case: which channel stands for a name, what is left out, and what it keeps."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.view import View
from afterclamp.io.case import Case
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.io.terms import Identity
from recordings import START, case_of, even, recording

FEMORAL = Identity("arterial_pressure", "femoral", "", "wave")
SITES = {
    "fem": FEMORAL,
    "copy": Identity("arterial_pressure", "femoral", "", "mean"),
    "abp": Identity("arterial_pressure", "", "", "wave"),
}
RATE = 50.0


def wave(label: str, level: float, seconds: float = 120.0, *, unit: str = "mmHg") -> RecordedChannel:
    """Ten beats every eight seconds around a level."""
    t = np.arange(int(seconds * RATE)) / RATE
    beat = np.where((t * 1.25) % 1 < 0.3, np.sin(np.pi * ((t * 1.25) % 1) / 0.3), 0.0)
    codes = np.round((level - 8 + 40 * beat) * 10).astype("i2")
    return even(label, codes, [Segment(0.0, 0, len(codes), RATE, 0.1)], unit=unit)


def rows(label: str, values: list[float], *, unit: str = "mmHg") -> RecordedChannel:
    return even(label, np.array(values, "f4"), [Segment(0.0, 0, len(values), 1.0)], unit=unit)


def open_case(folder: Path, *sources: tuple[str, list[RecordedChannel], float]) -> Case:
    made = [
        recording(name, channels, first_stamp=START + timedelta(seconds=at)) for name, channels, at in sources
    ]
    return case_of(folder / "case", *made, identities=SITES)


def test_a_wave_stands_for_its_site_and_a_recorded_copy_keeps_its_own_name(tmp_path: Path) -> None:
    pump = [rows("copy", [50.0] * 120), rows("pump flow", [4.4] * 120, unit="L/min")]
    with open_case(tmp_path, ("monitor", [wave("fem", 80)], 0), ("pump", pump, 0)) as case:
        view = View.of(case)
    assert view.arterial == ("femoral",)
    assert view.believed == "femoral"
    assert view.source["femoral"] == "monitor"
    assert np.nanmedian(view.values["femoral"]) == pytest.approx(79.6, abs=2)  # 80 - 8 + 40 * 0.3 * 2 / pi
    assert set(view.values["femoral_mean"]) == {50.0}
    assert np.nanmedian(view.pulse["femoral"]) == pytest.approx(40, abs=3)


def test_without_a_wave_the_recorded_mean_is_the_site_s(tmp_path: Path) -> None:
    with open_case(tmp_path, ("pump", [rows("copy", [50.0] * 120)], 0)) as case:
        view = View.of(case)
    assert view.arterial == ("femoral",)
    assert set(view.values["femoral"]) == {50.0}


def test_sources_that_follow_each_other_are_one_channel(tmp_path: Path) -> None:
    with open_case(tmp_path, ("first", [wave("fem", 80)], 0), ("second", [wave("fem", 60)], 150)) as case:
        view = View.of(case)
    assert view.arterial == ("femoral",)
    pressure = view.values["femoral"]
    assert np.nanmedian(pressure[10:110]) == pytest.approx(79.6, abs=2)
    assert np.isnan(pressure[122:149]).all()
    assert np.nanmedian(pressure[160:260]) == pytest.approx(59.6, abs=2)


def test_a_second_channel_of_the_same_seconds_keeps_its_id(tmp_path: Path) -> None:
    with open_case(tmp_path, ("first", [wave("fem", 80)], 0), ("second", [wave("fem", 60)], 30)) as case:
        view = View.of(case)
    assert view.arterial == ("femoral",)
    assert np.nanmedian(view.values["femoral"][10:110]) == pytest.approx(79.6, abs=2)
    assert np.nanmedian(view.values["second/fem"][40:140]) == pytest.approx(59.6, abs=2)


def test_a_pressure_without_a_site_and_a_channel_without_a_unit_serve_no_rule(tmp_path: Path) -> None:
    sources = [wave("abp", 80), wave("fem", 80, unit="")]
    with open_case(tmp_path, ("monitor", sources, 0)) as case:
        view = View.of(case)
    assert view.arterial == ()
    assert view.believed == ""
    assert "femoral" not in view.values
    assert "arterial" in view.values  # still looked at for artefacts


def test_a_view_up_to_a_time_holds_nothing_after_it(tmp_path: Path) -> None:
    with open_case(tmp_path, ("monitor", [wave("fem", 80)], 0)) as case:
        whole, early = View.of(case), View.of(case.until(60.0))
    assert early.n == 60
    assert early.values["femoral"][5:55] == pytest.approx(whole.values["femoral"][5:55], abs=0.5)


def test_a_changed_clock_is_a_new_view(tmp_path: Path) -> None:
    flow = rows("pump flow", [0.0] * 60 + [4.4] * 60, unit="L/min")
    with open_case(tmp_path, ("monitor", [wave("fem", 80)], 0), ("pump", [flow], 0)) as case:
        before = View.of(case).values["pump_flow"]
        case.edit("mara", "clock", {"source": "pump", "pieces": [{"offset_s": 10.0, "sd_s": 0.5}]})
        view = View.of(case)
    rise = [int(np.flatnonzero(flow > 1)[0]) for flow in (before, view.values["pump_flow"])]
    # The pump is 10 s ahead: what it stamped 60 s happened at 50 s; the record now begins 10 s earlier.
    assert rise[0] == 60
    assert view.time(rise[1]) == 50.0
    assert view.clock_sd["pump"] == 0.5


def test_arrays_of_other_lengths_are_refused() -> None:
    view = View(0.0, {"femoral": np.zeros(10)})
    with pytest.raises(ValueError, match="differ in length"):
        replace(view, values={"femoral": np.zeros(10), "cvp": np.zeros(9)})


def test_a_line_without_a_site_has_beats_once_a_person_names_it(tmp_path: Path) -> None:
    with case_of(tmp_path / "case", recording("monitor", [wave("ABP", 80.0)])) as case:
        (line,) = case.channels
        assert not line.site
        assert not View.of(case).beats
        view = View.of(case, line.id)
        assert len(view.beats[view.believed]) > 100  # 120 s at 75 a minute
