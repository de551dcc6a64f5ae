"""Sensors that were moved (A9): steps that no tissue makes, and what a patient does not taken for one.

The numbers of the steps are those of the project's description of pattern A9: more than 15 points in 5 s on one side,
more than 1.5 °C in 10 s; a true fall of a cerebral saturation takes 30 s or more.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.finds import find as find_all
from afterclamp.annotate.quality import NOTHING, artefacts, quality_class
from afterclamp.annotate.wave_artefacts import Artefact
from afterclamp.io import Case
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.io.terms import Identity
from numpy.typing import NDArray
from recordings import case_of, even, recording

FloatArray = NDArray[np.float64]
LENGTH_S = 1800
IDENTITIES = {
    "left": Identity("cerebral_saturation", "", "left"),
    "right": Identity("cerebral_saturation", "", "right"),
    "flow": Identity("pump_flow"),
    "map": Identity("arterial_pressure", "femoral", "", "mean"),
    "np": Identity("temperature", "nasopharyngeal"),
    "outlet": Identity("temperature", "arterial_outlet"),
}
UNITS = {"left": "%", "right": "%", "flow": "L/min", "map": "mmHg", "np": "Cel", "outlet": "Cel"}


def course(*points: tuple[float, float]) -> FloatArray:
    times, values = zip(*points, strict=True)
    return np.interp(np.arange(LENGTH_S), times, values)


def laid(level: float, start: int, end: int, value: float) -> FloatArray:
    out = np.full(LENGTH_S, level)
    out[start:end] = value
    return out


def rows(key: str, values: FloatArray, every: int) -> RecordedChannel:
    rng = np.random.default_rng(sum(map(ord, key)))
    noise = {"left": 0.8, "right": 0.8, "flow": 0.02, "map": 1.0}.get(key, 0.05)
    step = {"left": 1.0, "right": 1.0, "map": 1.0, "flow": 0.01}.get(key, 0.1)
    seen = values[::every] + noise * rng.standard_normal(values[::every].size)
    seen = np.rint(seen / step) * step
    there = np.isfinite(seen)
    segment = Segment(0.0, 0, seen.size, 1 / every)
    return even(key, np.nan_to_num(seen).astype(np.float32), [segment], unit=UNITS[key], valid=there)


def made(folder: Path, every: int = 5, **courses: FloatArray) -> Case:
    channels = [rows(key, values, every) for key, values in courses.items()]
    return case_of(folder / "case", recording("monitor", channels), identities=IDENTITIES)


def moved(case: Case, name: str) -> list[Artefact]:
    return [one for one in artefacts(case[name]) if one.evidence.get("what") == "sensor moved"]


STEADY = np.full(LENGTH_S, 64.0)
FLOW, MAP = np.full(LENGTH_S, 4.4), np.full(LENGTH_S, 62.0)
LIFTED = laid(62.0, 600, 720, 38.0)

# -- oximeter pads ---------------------------------------------------------------------------------


@pytest.mark.parametrize("level", [38.0, 95.0])
def test_a_pad_that_lifts_is_marked_until_it_is_back(tmp_path: Path, level: float) -> None:
    with made(tmp_path, left=laid(62.0, 600, 720, level), right=STEADY, flow=FLOW, map=MAP) as case:
        [found] = moved(case, "left_cerebral_saturation")
        assert found.code == "A9"
        assert found.start == pytest.approx(600, abs=5)
        assert found.end == pytest.approx(720, abs=5)
        assert moved(case, "right_cerebral_saturation") == []
        classes = quality_class(case["left_cerebral_saturation"], case.grid)
        assert set(classes[605:715]) == {NOTHING}
        [told] = [one for one in find_all(case).of("A9") if one.start_s < 720 and one.end_s > 600]
        assert told.name == "sensor moved or off"
        assert "an arrest" not in [one["what"] for one in told.evidence["alternatives"]]


def test_a_true_fall_over_half_a_minute_or_longer_is_none(tmp_path: Path) -> None:
    for number, over in enumerate((30, 60, 120)):
        fall = course((600, 62), (600 + over, 38), (900, 38), (900 + over, 62))
        with made(tmp_path / str(number), left=fall, right=STEADY, flow=FLOW, map=MAP) as case:
            assert moved(case, "left_cerebral_saturation") == []


def test_a_step_of_both_sides_is_none(tmp_path: Path) -> None:
    with made(tmp_path, left=LIFTED, right=laid(64.0, 600, 720, 42.0), flow=FLOW, map=MAP) as case:
        assert moved(case, "left_cerebral_saturation") == moved(case, "right_cerebral_saturation") == []


@pytest.mark.parametrize(
    ("flow", "pressure"), [(laid(4.4, 598, 720, 1.6), MAP), (FLOW, laid(62.0, 598, 720, 34.0))]
)
def test_a_step_with_a_change_of_flow_or_pressure_is_none(
    tmp_path: Path, flow: FloatArray, pressure: FloatArray
) -> None:
    with made(tmp_path, left=LIFTED, right=STEADY, flow=flow, map=pressure) as case:
        assert moved(case, "left_cerebral_saturation") == []


def test_one_side_alone_says_nothing(tmp_path: Path) -> None:
    with made(tmp_path, left=LIFTED, flow=FLOW, map=MAP) as case:
        assert moved(case, "left_cerebral_saturation") == []


def test_without_a_pressure_or_flow_the_other_side_is_enough_and_it_is_said(tmp_path: Path) -> None:
    with made(tmp_path, left=LIFTED, right=STEADY) as case:
        [found] = moved(case, "left_cerebral_saturation")
        assert "no pressure or flow could be held against it" in found.evidence["reason"]


@pytest.mark.parametrize("step", [10.0, 13.0])
def test_a_smaller_step_is_none(tmp_path: Path, step: float) -> None:
    with made(tmp_path, left=laid(62.0, 600, 720, 62 - step), right=STEADY, flow=FLOW, map=MAP) as case:
        assert moved(case, "left_cerebral_saturation") == []


def test_rows_too_far_apart_cannot_show_how_fast(tmp_path: Path) -> None:
    with made(tmp_path, 10, left=LIFTED, right=STEADY, flow=FLOW, map=MAP) as case:
        assert moved(case, "left_cerebral_saturation") == []


def test_a_pad_that_stays_elsewhere_is_marked_until_it_has_settled(tmp_path: Path) -> None:
    elsewhere = np.concatenate([np.full(600, 62.0), np.linspace(35, 46, 60), np.full(LENGTH_S - 660, 46.0)])
    with made(tmp_path, left=elsewhere, right=STEADY, flow=FLOW, map=MAP) as case:
        [found] = moved(case, "left_cerebral_saturation")
        assert 600 <= found.start <= 605
        assert 615 <= found.end <= 670
        assert "it may sit elsewhere" in found.evidence["reason"]
        # As long as it may still come back, nobody knows: a view of the past says so.
        [early] = moved(case.until(900.0), "left_cerebral_saturation")
        assert early.end == pytest.approx(900, abs=5)
        assert "the record ended before it was back" in early.evidence["reason"]


def test_a_pad_that_is_put_on_is_no_step_since_nothing_was_known_before(tmp_path: Path) -> None:
    begun = np.full(LENGTH_S, 64.0)
    begun[:20] = 22.0
    with made(tmp_path, left=begun, right=STEADY, flow=FLOW, map=MAP) as case:
        assert moved(case, "left_cerebral_saturation") == []


# -- temperature probes ----------------------------------------------------------------------------


@pytest.mark.parametrize("every", [1, 10])
def test_a_probe_that_slips_is_marked_until_it_is_back(tmp_path: Path, every: int) -> None:
    with made(tmp_path, every, np=laid(36.2, 600, 840, 33.0), flow=FLOW) as case:
        [found] = moved(case, "nasopharyngeal_temperature")
        assert found.start == pytest.approx(600, abs=10)
        assert found.end == pytest.approx(840, abs=10)


def test_a_body_that_is_cooled_is_none(tmp_path: Path) -> None:
    # 1 °C a minute is fast cooling (common practice, no source).
    with made(tmp_path, 1, np=course((300, 36), (1200, 21)), flow=FLOW) as case:
        assert moved(case, "nasopharyngeal_temperature") == []


def test_blood_at_a_probe_may_step_when_the_pump_starts_or_stops(tmp_path: Path) -> None:
    step = laid(34.0, 600, 900, 27.0)
    started = laid(4.4, 0, 598, 0.0)
    for number, (flow, expected) in enumerate(((started, 0), (laid(4.4, 590, 900, 2.0), 0), (FLOW, 1))):
        with made(tmp_path / str(number), 1, outlet=step, flow=flow) as case:
            assert len(moved(case, "outlet_temperature")) == expected
    with made(tmp_path / "alone", 1, outlet=step) as case:
        assert moved(case, "outlet_temperature") == []


# -- the invented case -----------------------------------------------------------------------------


def test_no_sensor_of_the_invented_case_was_moved(demo_case: Case) -> None:
    # Its truth table plants none; its saturations fall in obstructions and arrests, its temperatures follow the pump.
    kinds = ("cerebral_saturation", "temperature")
    looked = [channel for channel in demo_case.channels if channel.kind in kinds]
    assert len(looked) == 6
    assert [one for channel in looked for one in moved(demo_case, channel.id)] == []
