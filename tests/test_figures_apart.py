"""What a figure leaves out by design, whatever the phase of its limit, and what it says where that is not known.

Expected numbers are counted here from the keyframes of the invented case, second by second, with its times as its
description gives them: bypass 60:00 to 307:00, full flow from 61:55, weaning from 300:00, selective perfusion 181:30 to
195:00. Waves are those of the keyframes without noise.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.figures import Figure, figures
from afterclamp.annotate.limits import LimitSet
from afterclamp.annotate.overview import computed_values
from afterclamp.annotate.site import why_not_believed
from afterclamp.annotate.view import View
from afterclamp.io import masks
from afterclamp.io.case import Case
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.replay.figure_table import figures as printed
from afterclamp.sample_traces import trend
from afterclamp.sample_traces.write import case_sheet_toml
from keyframe_case import LENGTH_S, ROWS, WAVE_HZ, WAVES, _channel, keyframe_case, minutes, row
from recordings import case_of, even, recording
from test_site import SITES, late_case

T = np.arange(LENGTH_S, dtype=np.float64)
ON_S, OFF_S = minutes("60:00"), minutes("307:00")
FULL_S, WEANING_S = minutes("61:55"), minutes("300:00")
ON_BYPASS = (T >= ON_S) & (T < OFF_S)
ESTABLISHED = (T >= FULL_S) & (T < WEANING_S)


def keyframes(name: str) -> np.ndarray:
    return np.asarray(trend.trend(name, T + 0.5))


def carried() -> np.ndarray:
    """Seconds with a flow of 1.3 L/min and more."""
    return keyframes("FLOW") >= 1.3


def under(level: float, name: str, inside: np.ndarray) -> tuple[float, float]:
    """Seconds and area (unit x min) under a level."""
    depth = np.where(inside, np.maximum(level - keyframes(name), 0.0), 0.0)
    return float(np.count_nonzero(depth > 0)), float(np.nansum(depth)) / 60


def own_set(folder: Path, phase: str, measure: str = "mean_arterial_pressure", level: float = 50,
            unit: str = "mm[Hg]") -> LimitSet:  # fmt: skip
    path = folder / "ours.toml"
    path.write_text(
        f'name = "ours"\nversion = "1"\n[[limit]]\nid = "own"\nmeasure = "{measure}"\nphase = "{phase}"\n'
        f'below = {level:g}\nunit = "{unit}"\nstatus = "U"\nsource = "our unit"\n'
    )
    return LimitSet.load(path)


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    with keyframe_case(tmp_path_factory.mktemp("keyframes") / "case") as opened:
        yield opened


@pytest.fixture(scope="module")
def rows(case: Case) -> list[Figure]:
    return figures(case)


# -- exclusions, whatever the phase ------------------------------------------------------------------


@pytest.mark.parametrize(("phase", "off_bypass"), [("bypass", False), ("record", True)])
def test_arrests_and_low_flow_are_left_out_of_a_pressure_limit_in_any_phase_that_holds_bypass(
    case: Case, tmp_path: Path, phase: str, off_bypass: bool
) -> None:
    found = figures(case, limits=own_set(tmp_path, phase))
    inside = carried() | ~ON_BYPASS if off_bypass else carried() & ON_BYPASS
    seconds, area = under(50, "FEM", inside)
    main = row(found, "own", phase)
    assert main.outside_s == pytest.approx(seconds, abs=6)
    assert main.area == pytest.approx(area, rel=0.02)
    assert main.excluded_s > minutes("52:30")
    assert "arrests, brain perfusion alone and flow under 1.3 L/min" in main.note
    assert ("on bypass only" in main.note) == off_bypass


@pytest.mark.parametrize("phase", ["bypass", "record", "established"])
def test_what_is_left_out_is_told_apart_in_rows_of_its_own(case: Case, tmp_path: Path, phase: str) -> None:
    found = figures(case, limits=own_set(tmp_path, phase))
    arrests = row(found, "own", "lower_body_arrest", note="not judged")
    assert arrests.observed_s == pytest.approx(minutes("52:30"), abs=6)
    [slow] = [one for one in found if one.part == "flow under 1.3 L/min on bypass"]
    window = ESTABLISHED if phase == "established" else ON_BYPASS
    low = window & ~carried()
    assert slow.observed_s == pytest.approx(np.count_nonzero(low) - minutes("52:30"), abs=8)
    mistaken = row(found, "own", phase, note="usual mistake")
    main = row(found, "own", phase)
    assert mistaken.excluded_s == 0
    assert mistaken.outside_s == pytest.approx(main.outside_s + arrests.outside_s + slow.outside_s, abs=2)


def test_a_limit_over_the_record_leaves_nothing_out_off_bypass(case: Case, tmp_path: Path) -> None:
    # The pump stands still before and after bypass: its flow says nothing of the pressure there.
    main = row(figures(case, limits=own_set(tmp_path, "record")), "own", "record")
    assert main.excluded_s == pytest.approx(np.count_nonzero(ON_BYPASS & ~carried()), abs=8)


def test_oxygen_delivery_over_the_record_leaves_out_the_time_off_bypass(case: Case, tmp_path: Path) -> None:
    ours = own_set(tmp_path, "record", "oxygen_delivery_index", 280, "mL/min/m2")
    main = next(one for one in figures(case, limits=ours) if one.limit_id == "own")
    on = own_set(tmp_path, "bypass", "oxygen_delivery_index", 280, "mL/min/m2")
    same = next(one for one in figures(case, limits=on) if one.limit_id == "own")
    assert (main.outside_s, main.area) == (same.outside_s, same.area)
    assert "time off bypass" in main.note


# -- bypass is not known ------------------------------------------------------------------------------


def test_without_a_pump_a_limit_off_bypass_says_that_bypass_may_be_counted_in(tmp_path: Path) -> None:
    with late_case(tmp_path / "case") as late:
        found = figures(late)
        own = row(figures(late, limits=own_set(tmp_path, "record")), "own")
    for one in (row(found, "map-65-off-bypass"), own):
        assert one.phase == "record"
        assert one.part == "bypass not known"
        assert one.note.startswith("no pump flow is recorded: bypass is not known and may be counted in")
    assert "whole record, bypass not known" in printed(found)


def test_with_a_pump_it_says_nothing_of_the_kind(rows: list[Figure]) -> None:
    assert not any("bypass is not known" in one.note or one.part == "bypass not known" for one in rows)


# -- bands --------------------------------------------------------------------------------------------


def test_bands_of_the_pressure_are_disjoint(rows: list[Figure]) -> None:
    fem, inside = keyframes("FEM"), ESTABLISHED & carried()
    for limit_id, low, high in (("map-band-55-64-on-bypass", 55, 65), ("map-band-65-74-on-bypass", 65, 75)):
        found = row(rows, limit_id, "established")
        band = inside & (fem >= low) & (fem < high)
        assert found.outside_s == pytest.approx(np.count_nonzero(band), rel=0.02)
        assert f"pressure under {low} mm[Hg], which is another band" in found.note
        assert found.measure == f"mean_arterial_pressure_from_{low}"
        assert found.limit_source == "Sun et al. Anesthesiology 2018;129:440-7"
    whole = row(rows, "map-50-on-bypass", "established").observed_s
    assert (
        f"with the seconds under 55 mm[Hg] {whole / 60:.1f} min were observed"
        in row(rows, "map-band-55-64-on-bypass").note
    )


# -- beats --------------------------------------------------------------------------------------------


def beating(low_s: tuple[int, int], label: str = "lrad") -> tuple[RecordedChannel, float, float]:
    """A line at 100 Hz, 27 mmHg lower for a while, with the highest and lowest pressure of its other beats."""
    t = np.arange(600 * 100) / 100
    phase = (t * 1.25) % 1.0
    wave = 65 + np.where(phase < 0.35, np.sin(np.pi * phase / 0.35), 0.0) * 40 + np.exp(-phase * 1.5) * 15
    highest, lowest = float(wave.max()), float(wave.min())
    wave = np.where((t >= low_s[0]) & (t < low_s[1]), wave - 27, wave)
    wave += np.random.default_rng(5).normal(0, 0.2, t.size)
    codes = np.round(wave * 10).astype(np.int16)
    return even(label, codes, [Segment(0.0, 0, codes.size, 100.0, 0.1)]), highest, lowest


def test_systolic_diastolic_and_pulse_pressure_of_each_beat_averaged_over_its_seconds(tmp_path: Path) -> None:
    made, highest, lowest = beating((200, 320))
    assert (highest - 27 < 100 < highest, lowest - 27 < 50 < lowest) == (True, True)
    with case_of(tmp_path / "case", recording("monitor", [made]), identities=SITES) as case:
        found = figures(case)
    systolic = row(found, "systolic-100-off-bypass")
    assert systolic.outside_s == pytest.approx(120, abs=3)
    assert systolic.nadir == pytest.approx(highest - 27, abs=2)
    assert systolic.observed_s == pytest.approx(600, abs=5)
    assert systolic.area == pytest.approx((100 - (highest - 27)) * 2, rel=0.1)
    diastolic = row(found, "diastolic-50-off-bypass")
    assert diastolic.outside_s == pytest.approx(120, abs=3)
    assert diastolic.nadir == pytest.approx(lowest - 27, abs=2)
    pulse = row(found, "pulse-pressure-35-off-bypass")
    assert pulse.outside_s <= 4  # the two beats across which the level changes
    assert row(found, "systolic-140-off-bypass").outside_s == 0
    assert "a second without beats is missing" in systolic.note
    assert any("below 67 mm[Hg]" in words and "Monk" in words for words in systolic.rivals)


def test_beats_of_another_line_are_told_beside_a_systolic_pressure(tmp_path: Path) -> None:
    lines = [
        beating((700, 800), "fem")[0],
        beating((200, 320))[0],
    ]  # the femoral one never low within the record
    with case_of(tmp_path / "case", recording("monitor", lines), identities=SITES) as case:
        systolic = row(figures(case), "systolic-100-off-bypass")
    assert (systolic.site, systolic.outside_s) == ("femoral", 0)
    assert "with left radial believed instead of femoral: 2.0 min and" in systolic.note


def test_a_line_without_beats_has_no_systolic_pressure(rows: list[Figure]) -> None:
    # The waves of the keyframes are flat.
    for limit_id in ("systolic-100-off-bypass", "diastolic-50-off-bypass", "pulse-pressure-35-off-bypass"):
        assert all(one.value is None for one in rows if one.limit_id == limit_id)


# -- brain alone --------------------------------------------------------------------------------------


def test_pressure_and_flow_while_the_brain_alone_is_perfused(case: Case, rows: list[Figure]) -> None:
    # The arm of the inflow is the right one; 74 kg (description of the case).
    alone = (minutes("181:30") <= T) & (minutes("195:00") > T)
    pressure, flow = keyframes("RRAD"), keyframes("FLOW") * 1000 / 74
    for limit_id, depth in (
        ("brain-pressure-40", 40 - pressure),
        ("brain-pressure-60", pressure - 60),
        ("brain-flow-6", 6 - flow),
        ("brain-flow-10", flow - 10),
    ):
        found = row(rows, limit_id, "selective_cerebral")
        area = float(np.maximum(depth[alone], 0).sum()) / 60
        assert found.area == pytest.approx(area, rel=0.05, abs=0.5)
        assert found.observed_s == pytest.approx(minutes("13:30"), abs=6)
        assert "doi 10.3978/j.issn.2225-319X.2013.03.02" in found.limit_source
    mean = next(one for one in computed_values(case) if one.measure == "perfusion_pressure")
    assert mean.value == pytest.approx(float(pressure[alone].mean()), rel=0.02)


# -- no outlet temperature ----------------------------------------------------------------------------


def test_without_an_outlet_temperature_delivery_and_flow_index_are_counted_and_say_so(tmp_path: Path) -> None:
    names = [name for name in ROWS if name != "TAO"]
    identities = dict(WAVES.values()) | {name.lower(): ROWS[name][1] for name in names}
    folder = tmp_path / "case"
    case_of(
        folder,
        recording("monitor", [_channel(name, WAVE_HZ, "mmHg") for name in WAVES]),
        recording("pump", [_channel(name, 1.0, ROWS[name][0]) for name in names]),
        identities=identities,
    ).close()
    (folder / "traces" / "case-sheet.toml").write_bytes(case_sheet_toml())
    with Case.open(folder) as bare:
        found = figures(bare)
    # Index x content x 10 by hand: 1.34 mL/g and 0.003 mL/dL/mmHg; saturation 1, tension 220 (case sheet), 1.84 m².
    delivery = 10 * keyframes("FLOW") / 1.84 * (1.34 * keyframes("HB") + 0.003 * 220)
    main = row(found, "do2i-280", "established")
    arrests = row(found, "map-50-on-bypass", "lower_body_arrest", note="not judged").observed_s
    assert main.value is not None
    assert main.observed_s == pytest.approx(np.count_nonzero(ESTABLISHED) - arrests, abs=10)
    assert main.outside_s == pytest.approx(
        np.count_nonzero(ESTABLISHED & (delivery < 280)) - minutes("52:30"), rel=0.05
    )
    assert main.part == "at any outlet temperature"
    assert (
        "no arterial outlet temperature is recorded: warm and cold perfusion are counted alike" in main.note
    )
    assert row(found, "flow-index-2", "established").value is not None


# -- clocks -------------------------------------------------------------------------------------------


def test_a_window_of_the_case_sheet_on_a_source_whose_clock_is_not_set_is_told(
    case: Case, rows: list[Figure]
) -> None:
    [pump] = [source for source in case.sources if source.name == "pump"]
    assert pump.clock.method == "unset"
    found = row(rows, "cerebral-80-of-baseline", site="left_cerebral_saturation")
    assert found.note.startswith(
        "± unknown, the clock of pump not set: which readings lie in the baseline window"
    )
    absolute = row(rows, "cerebral-50-absolute", site="left_cerebral_saturation")
    assert "not set" not in absolute.note  # one source against a number: no time of another clock is in it


# -- why a line is not counted ------------------------------------------------------------------------


def test_a_line_that_a_person_hid_is_masked_and_neither_out_nor_to_come(tmp_path: Path) -> None:
    # In from 300 to 820 s, hidden from end to end.
    with late_case(tmp_path / "case") as late:
        masks.mask(late, "reviewer", "hide", "femoral", 300.0, 820.0)
        hidden = View.of(late, "femoral")
    assert why_not_believed(hidden, 300, 820) == "is masked"
    assert why_not_believed(hidden, 0, 300) == "is not in yet"


def test_the_figure_of_a_line_that_is_hidden_from_end_to_end_says_that_it_is_masked(tmp_path: Path) -> None:
    lines = [beating((700, 800), "fem")[0], beating((0, 100))[0]]
    with case_of(tmp_path / "case", recording("monitor", lines), identities=SITES) as made:
        masks.mask(made, "reviewer", "hide", "femoral", 0.0, 590.0)
        found = row(figures(made, believe="femoral"), "map-65-off-bypass")
    assert "min while femoral is masked are not counted: left radial" in found.note
    assert "not in yet" not in found.note


# -- raw ----------------------------------------------------------------------------------------------


def test_raw_figures_do_not_say_that_masked_seconds_are_not_counted(demo_folder: Path) -> None:
    with Case.open(demo_folder) as opened:
        raw = figures(opened, masked=False)
    kinked = row(raw, "map-50-on-bypass", "established")
    assert kinked.masked_s == 0
    assert "are not counted" not in kinked.note
    assert kinked.note.count("raw") == 1
    before = row(raw, "map-65-off-bypass", "pre")
    # The femoral line is recorded from 16:40 on, open to air for the first 20 s (truth of the case).
    assert "16.7 min while femoral is not in yet are not counted" in before.note


# -- bridged ------------------------------------------------------------------------------------------


def test_the_bridged_number_stands_in_the_row_beside_the_counted_one() -> None:
    # 1124 s of 2544 counted, 1166 s with 36 masked seconds bridged.
    one = Figure("femoral_radial_gradient", "post", value=68.7, unit="mm[Hg].min", limit=10.0, side="at least",
                 limit_unit="mm[Hg]", outside_s=1124.0, observed_s=2544.0, masked_s=36.0, area=68.7, bridged_s=36.0,
                 bridged_outside_s=1166.0, bridged_area=71.0)  # fmt: skip
    line = next(line for line in printed([one]).splitlines() if "femoral radial gradient" in line)
    assert "18.7 min" in line
    assert "19.4 of 43.0 min, 71.0 mmHg·min" in line
    other = Figure("line_pressure", "bypass", value=1.0, outside_s=60.0, observed_s=90.0)
    without = next(line for line in printed([other]).splitlines() if "line pressure" in line)
    assert "of 1.5 min" not in without
