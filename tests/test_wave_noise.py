"""Electrical and movement noise (A8): found with its times, and what only looks like it is not.

What must be found is J4.1's row A8 (this project's choice): more than four times the usual power above 15 Hz, or
three changes within 10 s that no pulse makes; not ectopy, fibrillation, pump ripple or the ring of a flush.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.finds import find
from afterclamp.annotate.quality import artefacts
from afterclamp.annotate.rules import by_code
from afterclamp.annotate.wave_artefacts import Artefact
from afterclamp.annotate.wave_noise import wave_noise
from afterclamp.io import Case
from afterclamp.sample_traces import truth
from afterclamp.sample_traces.courses import Course
from line_case import Wave, beside, case_with, course, lines_of, planted, waves_of


def found_in(folder: Path, one: Course, waves: dict[str, Wave], name: str = "left_radial") -> list[Artefact]:
    with case_with(folder, one, waves) as case:
        return wave_noise(*beside(lines_of(case), name))


@pytest.mark.parametrize("rate_hz", [50, 100, 125, 250, 500])
def test_bursts_are_one_stretch_with_their_pauses(tmp_path: Path, rate_hz: int) -> None:
    one = course("LRAD", rate_hz=rate_hz)
    waves = waves_of(one)
    # 20 to 40 Hz, four of every eight seconds; at 50 samples a second only what lies under 25 Hz can be laid on.
    planted(one, waves, "LRAD", "noise", 120.0, 20.0, 8.0)
    [found] = found_in(tmp_path, one, waves)
    assert found.code == "A8"
    assert (found.start, found.end) == (pytest.approx(120, abs=3), pytest.approx(140, abs=3))
    assert ("nothing above 25 Hz is in the record" in found.evidence["reason"]) == (rate_hz == 50)


@pytest.mark.parametrize("bursts", [True, False])
def test_noise_over_most_of_a_record_is_one_stretch(tmp_path: Path, bursts: bool) -> None:
    # 20 to 40 Hz over 250 of 300 s, in bursts or without a pause: the usual level is that of the quiet rest.
    one = course("LRAD")
    waves = waves_of(one)
    if bursts:
        planted(one, waves, "LRAD", "noise", 10.0, 250.0, 8.0)
    else:
        laid = waves["LRAD"][1000:26000]
        t = np.arange(laid.size) / one.rate_hz
        strength = 8.0 * np.random.default_rng(2).standard_normal(laid.size)
        waves["LRAD"][1000:26000] = laid + strength * np.sin(2 * np.pi * 30 * t)
    [found] = found_in(tmp_path, one, waves)
    assert (found.start, found.end) == (pytest.approx(10, abs=5), pytest.approx(260, abs=5))


def test_under_40_samples_a_second_only_slopes_are_judged(tmp_path: Path) -> None:
    one = course("LRAD", rate_hz=25)
    waves = waves_of(one)
    t = np.arange(waves["LRAD"].size)
    waves["LRAD"] = waves["LRAD"] + np.where((t >= 3000) & (t < 3500), 8.0 * (-1.0) ** t, 0)
    assert found_in(tmp_path, one, waves) == []


def spiked(one: Course, at: tuple[float, ...], height: float = 90.0) -> dict[str, Wave]:
    """A hand on the line: up and down again within 40 ms."""
    waves = waves_of(one)
    for second in at:
        first = round(second * one.rate_hz)
        waves["LRAD"][first : first + max(round(0.02 * one.rate_hz), 1)] += height
    return waves


@pytest.mark.parametrize("rate_hz", [50, 100, 250, 500])
def test_three_impossible_slopes_within_ten_seconds(tmp_path: Path, rate_hz: int) -> None:
    one = course("LRAD", rate_hz=rate_hz)
    [found] = found_in(tmp_path, one, spiked(one, (100.2, 103.7, 108.1)))
    assert (found.start, found.end) == (pytest.approx(100, abs=1), pytest.approx(109, abs=1))
    assert found.evidence["steep_s"] == 3


def test_fewer_or_farther_apart_are_none(tmp_path: Path) -> None:
    one = course("LRAD")
    assert found_in(tmp_path / "two", one, spiked(one, (100.2, 103.7))) == []
    assert found_in(tmp_path / "far", one, spiked(one, (100.2, 108.7, 118.2))) == []


@pytest.mark.parametrize("rate_hz", [50, 100, 125, 500])
@pytest.mark.parametrize(
    "what", ["clean", "fibrillation", "pump", "flush", "ringing", "fast", "opened", "sample"]
)
def test_what_only_looks_like_noise(tmp_path: Path, rate_hz: int, what: str) -> None:
    one = {
        "fibrillation": course(
            "LRAD", rate_hz=rate_hz, pulse=((0.0, 0.0),), heart_rate=0.0, fibrillating=((0, 300),)
        ),
        "pump": course("LRAD", rate_hz=rate_hz, pulse=((0.0, 6.0),), flow=((0.0, 4.6),)),
        "fast": course("LRAD", rate_hz=rate_hz, pulse=((0.0, 70.0),), heart_rate=150.0),
    }.get(what, course("LRAD", rate_hz=rate_hz))
    waves = waves_of(one)
    if what in ("flush", "ringing", "opened", "sample"):
        name, length, depth = {
            "flush": ("flush", 3.0, 290.0),
            "ringing": ("ringing", 90.0, 25.0),
            "opened": ("zero", 20.0, 0.0),
            "sample": ("sample", 60.0, 8.0),
        }[what]
        planted(one, waves, "LRAD", name, 120.0, length, depth)
    assert found_in(tmp_path, one, waves) == []


def test_early_beats_are_none(demo_case: Case) -> None:
    # One early beat in four from 53:00 to 54:10 (J6.5, E04).
    for channel in demo_case.channels:
        if channel.is_wave:
            seen = [one for one in artefacts(channel) if one.code == "A8"]
            assert not [one for one in seen if one.start < 54 * 60 + 10 and one.end > 53 * 60]


def test_the_diathermy_of_the_demo(demo_case: Case) -> None:
    [row] = [row for row in truth() if row.code == "A8"]
    found = [
        (channel.identity.name, one)
        for channel in demo_case.channels
        if channel.is_wave
        for one in artefacts(channel)
        if one.code == "A8"
    ]
    [(name, one)] = found
    assert name == "left_radial"
    assert one.start == pytest.approx(row.start_s, abs=row.onset_tolerance_s)
    assert one.end == pytest.approx(row.end_s, abs=row.onset_tolerance_s)


def test_a_find_says_numbers_and_what_else_it_could_be(demo_case: Case) -> None:
    [told] = find(demo_case).of("A8")
    assert told.name == "electrical or movement noise"
    assert "4 times" in told.evidence["rule"]
    assert "times the line's usual" in told.evidence["seen"]["reason"]
    assert any("fibrillating" in one["what"] for one in told.evidence["alternatives"])
    assert by_code("A8").status == "D"


def test_a_knock_on_a_recorded_line_is_found_and_nothing_else(real_traces: Path, tmp_path: Path) -> None:
    from scipy.io import loadmat

    # Seen on the trace: at 5465 to 5467 s swings of up to 150 mmHg within 0.1 s, between even beats on either side.
    # The other record, and the bench circulation, have none.
    for name, expected in (("p004685-2121-02-20-16-06", [(5465, 5467)]), ("p000138-2131-10-31-13-39", [])):
        [path] = (real_traces / "pulmonary").glob(f"{name}.mat")
        wave = np.asarray(loadmat(path, squeeze_me=True)["signals"][0], float)
        one = course("PA", rate_hz=125, seconds=wave.size // 125)
        found = found_in(tmp_path / name, one, {"PA": wave}, "pa")
        assert [(each.start, each.end) for each in found] == [
            (pytest.approx(start, abs=1), pytest.approx(end, abs=1)) for start, end in expected
        ]
