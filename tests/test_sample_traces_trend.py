"""The invented case's trend against its own tables: ``minutes.csv``, ``truth.csv``, ``phases.csv``, ``log.csv``.

The tables were made before the generator and by another program: they are what it is held against.
"""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.sample_traces import phases, true_clock_maps, truth
from afterclamp.sample_traces.tables import CLOCK_AT_ZERO_S, captions, log_lines, rows
from afterclamp.sample_traces.trend import body_surface_area, trend

SECONDS = np.arange(21_000.0)

# Decimals of each column of minutes.csv.
DECIMALS = {
    "LRAD": 0, "RRAD": 0, "FEM": 0, "PP": 0, "HR": 0, "CVP": 0, "PAM": 0, "FLOW": 2, "ALP": 0, "TAO": 2, "TV": 2,
    "NP": 2, "BLAD": 2, "NIRL": 0, "NIRR": 0, "SVO2": 0, "HB": 2, "RES": 0, "DO2I": 0,
}  # fmt: skip


@pytest.mark.parametrize("name", DECIMALS)
def test_trend_is_the_minute_table_to_its_last_decimal(name: str) -> None:
    table = rows("minutes.csv")
    expected = np.array([float(row[name]) if row[name] else np.nan for row in table])
    found = trend(name, np.arange(len(table)) * 60.0)
    np.testing.assert_array_equal(np.isnan(found), np.isnan(expected))
    there = ~np.isnan(expected)
    half_a_step = 0.5 * 10.0 ** -DECIMALS[name]
    assert np.abs(found[there] - expected[there]).max() <= half_a_step * (1 + 1e-6)


def test_every_column_of_the_minute_table_is_held() -> None:
    assert set(rows("minutes.csv")[0]) - {"minute", "monitor_clock"} == set(DECIMALS)


def test_body_surface_is_du_bois_1916() -> None:
    # Du Bois & Du Bois, Arch Intern Med 1916;17:863-71, for 168 cm and 74 kg, worked by hand with logarithms.
    assert body_surface_area() == pytest.approx(1.837, abs=0.0005)


def gap(name: str, other: str) -> np.ndarray:
    return trend(name, SECONDS) - trend(other, SECONDS)


def flow_index() -> np.ndarray:
    return trend("FLOW", SECONDS) / body_surface_area()


def full_flow() -> np.ndarray:
    """Established bypass, from full flow to weaning, as phases.csv has it."""
    (phase,) = [phase for phase in phases() if phase.name == "established bypass"]
    start, end = phase.start_s, phase.end_s
    return (start <= SECONDS) & (end > SECONDS)


def outlet_at_least(celsius: float) -> np.ndarray:
    return trend("TAO", SECONDS) >= celsius


# The rows of truth.csv that are times outside a limit, with the limit as the table's note gives it.
LIMITS = {
    ("E01", "same dip as E04"): lambda: trend("FEM", SECONDS) < 65,
    ("E01", "same fall as E27"): lambda: trend("FEM", SECONDS) < 65,
    ("E01", "near miss"): lambda: trend("LRAD", SECONDS) < 65,
    ("E07", ""): lambda: trend("ALP", SECONDS) > 300,
    ("E11", ""): lambda: (flow_index() < 2.0) & full_flow() & outlet_at_least(32),
    ("E12", ""): lambda: (trend("DO2I", SECONDS) < 280) & full_flow() & outlet_at_least(32),
    ("E13", ""): lambda: (trend("FEM", SECONDS) < 50) & (trend("FLOW", SECONDS) >= 1.3) & full_flow(),
    ("E14a", ""): lambda: gap("TV", "TAO") > 10,
    ("E14b", ""): lambda: (gap("TAO", "TV") > 10) & ~outlet_at_least(30),
    ("E14c", ""): lambda: (gap("TAO", "TV") > 4) & outlet_at_least(30),
    ("E16", ""): lambda: outlet_at_least(37.0),
    ("E19", "desaturation L"): lambda: trend("NIRL", SECONDS) < 0.8 * 61,
    ("E19", "desaturation R"): lambda: trend("NIRR", SECONDS) < 0.8 * 61,
    ("E20", ""): lambda: gap("NIRR", "NIRL") >= 10,
    ("E22a", ""): lambda: (gap("FEM", "LRAD") >= 10) & (SECONDS > 18_000),
    ("E28", ""): lambda: (trend("PAM", SECONDS) / trend("FEM", SECONDS) >= 0.7) & (SECONDS > 18_420),
}


@pytest.mark.parametrize(("code", "label"), LIMITS)
def test_true_times_outside_a_limit_are_those_of_the_trend(code: str, label: str) -> None:
    wanted = [row for row in truth() if row.code == code and label in row.label]
    outside = LIMITS[code, label]()
    edges = np.flatnonzero(np.diff(np.concatenate(([0], outside.astype(int), [0]))))
    runs = list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
    assert wanted
    for row in wanted:
        if "none" in row.label and code == "E19":
            assert not outside[int(row.start_s) : int(row.end_s)].any()  # a near miss stays above
            continue
        nearest = min(runs, key=lambda run: abs(run[0] - row.start_s))
        assert nearest == pytest.approx((row.start_s, row.end_s), abs=2), row


def test_no_flow_sums_to_what_the_phases_say() -> None:
    # A report of this case has to print 18:30 + 20:30 of no flow and 13:30 of the brain alone.
    off = trend("FLOW", SECONDS) <= 0.1
    bypass = (SECONDS >= 3660) & (SECONDS < 18_360)
    assert (off & bypass).sum() == pytest.approx(39 * 60 + 12, abs=6)  # with the pump stop of 12 s
    lengths = {phase.name: phase.end_s - phase.start_s for phase in phases()}
    assert lengths["arrest 1: no flow"] == 18 * 60 + 30
    assert lengths["arrest 2: no flow at all"] == 20 * 60 + 30
    assert lengths["selective cerebral perfusion"] == 13 * 60 + 30
    assert lengths["whole bypass"] == 247 * 60


def test_log_is_the_true_time_125_s_late_in_whole_minutes_but_for_two_lines() -> None:
    (clock,) = true_clock_maps()["log"]
    wrong = []
    for line in log_lines():
        minute = round((CLOCK_AT_ZERO_S + float(clock.stamp(np.asarray(line.true_s)))) / 60)
        if f"{minute // 60:02d}:{minute % 60:02d}" != line.written:
            wrong.append(line)
    assert [line.text for line in wrong] == ["clamp off", "protamine"]
    assert all(line.wrong for line in wrong)
    assert len(log_lines()) == 22


def test_narration_has_its_zero_at_20_12() -> None:
    (clock,) = true_clock_maps()["captions"]
    for row, caption in zip(rows("captions.csv"), captions(), strict=True):
        minutes, seconds = row["true_min"].split(":")
        assert clock.stamp(np.asarray(60.0 * int(minutes) + int(seconds))) == caption.audio_s
