"""Blood sample, kink or wedge, cuff: each is found where it was laid, and what looks like it is not.

What was laid where is known to the second, since `sample_traces.planting` lays it; tolerances are those of the
project's truth tables (A3 and A6 3 s, A5 10 s). The definitions are those that the rules print.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.finds import find_in
from afterclamp.annotate.pulse_course import pulse_course
from afterclamp.annotate.quality import artefacts, quality_class, seconds_state
from afterclamp.annotate.series import MASKED
from afterclamp.annotate.wave_artefacts import Artefact
from afterclamp.io import bring_in
from afterclamp.io.case import Case
from afterclamp.io.recording import Segment
from afterclamp.sample_traces.courses import PULMONARY, Course, Points, Pressure, record
from afterclamp.sample_traces.planting import Line, plant
from afterclamp.sample_traces.vignette_files import build_vignettes
from afterclamp.sample_traces.vignettes import WHICH_ARM
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from recordings import case_of, even, recording
from trend_case import trend_view

FloatArray = NDArray[np.float64]

CODES = ("A3", "A5", "A6")
LENGTH_S, START_S = 300, 150.0
USUAL_S = {"sample": 40.0, "kink": 90.0, "cuff": 35.0}
CODE = {"sample": "A3", "kink": "A5", "cuff": "A6"}
TOLERANCE_S = {"A3": 3.0, "A5": 10.0, "A6": 3.0}
NOISE_SD = 0.7  # mmHg, of a line with noise 1


def still(value: float) -> Points:
    return ((0.0, value),)


@dataclass(frozen=True)
class Bed:
    """A patient: mean, pulse (mmHg) and heart rate (a minute), pump flow (L/min), and the lines in place."""

    mean: Points = ((0.0, 76.0),)
    pulse: Points = ((0.0, 45.0),)
    rate: Points = ((0.0, 75.0),)
    flow: Points = ((0.0, 0.0),)
    lines: tuple[str, ...] = ("LRAD", "FEM")
    rate_hz: int = 100
    noise: float = 1.0
    fibrillating: tuple[tuple[float, float], ...] = ()

    def waves(self) -> dict[str, FloatArray]:
        pressures = {
            label: Pressure(still(24.0), tuple((t, 0.4 * pulse) for t, pulse in self.pulse), PULMONARY)
            if label == "PA"
            else Pressure(self.mean, self.pulse)
            for label in self.lines
        }
        course = Course(
            LENGTH_S,
            self.rate_hz,
            pressures,
            heart_rate=self.rate,
            flow=self.flow,
            fibrillating=self.fibrillating,
        )
        return record(course, 5, self.noise)

    def line(self) -> Line:
        return Line(self.rate_hz, noise_sd=NOISE_SD * self.noise)


BYPASS = Bed(still(66.0), still(0.0), still(0.0), still(4.5))
EJECTING = Bed(still(66.0), still(9.0), still(70.0), still(4.5))


def lay(
    waves: dict[str, FloatArray],
    bed: Bed,
    name: str,
    label: str = "LRAD",
    length_s: float | None = None,
    depth: float | None = None,
    start_s: float = START_S,
) -> tuple[float, float]:
    """Lay an artefact over one of the waves, and say where it is."""
    length = USUAL_S[name] if length_s is None else length_s
    waves[label], span = plant(
        name, waves[label], bed.line(), start_s, length, np.random.default_rng(3), depth
    )
    return span


def case(folder: Path, waves: dict[str, FloatArray], rate_hz: int, **rows: FloatArray) -> Case:
    """Waves, and rows of one value a second, as one source: on one clock."""
    channels = [
        even(label, np.rint(wave * 20).astype(np.int16), [Segment(0.0, 0, wave.size, rate_hz, 0.05)])
        for label, wave in waves.items()
    ]
    units = {"pump_flow": "L/min", "line_pressure": "mmHg", "NIRS_L": "%", "NIRS_R": "%"}
    slow = [
        even(
            name.replace("_", " "),
            np.rint(values * 100).astype(np.int16),
            [Segment(0.0, 0, values.size, 1.0, 0.01)],
            unit=units[name],
        )
        for name, values in rows.items()
    ]
    return case_of(folder / "case", recording("monitor", [*channels, *slow]))


def seen(one: Case, name: str = "left_radial") -> list[Artefact]:
    return [found for found in artefacts(one[name]) if found.code in CODES]


def found_in(
    folder: Path, waves: dict[str, FloatArray], rate_hz: int = 100, **rows: FloatArray
) -> list[Artefact]:
    """All of the three classes on any line of a case."""
    with case(folder, waves, rate_hz, **rows) as one:
        return [found for channel in one.channels for found in artefacts(channel) if found.code in CODES]


# -- each where it is ------------------------------------------------------------------------------

BEDS = {
    "30 a minute": Bed(rate=still(32.0)),
    "75 a minute": Bed(),
    "170 a minute": Bed(pulse=still(28.0), rate=still(170.0)),
    "no noise": Bed(noise=0.0),
    "noise of 2 mmHg": Bed(noise=2.0 / NOISE_SD),
    "50 Hz": Bed(rate_hz=50),
    "500 Hz": Bed(rate_hz=500),
    "ejecting on bypass": EJECTING,
    "ripple alone": BYPASS,
    "ripple alone, noise of 2 mmHg": replace(BYPASS, noise=2.0 / NOISE_SD),
    "ripple alone, 125 Hz": replace(BYPASS, rate_hz=125),
    "three lines": Bed(lines=("LRAD", "RRAD", "FEM", "PA")),
}


@pytest.mark.parametrize("bed", BEDS.values(), ids=BEDS)
@pytest.mark.parametrize("name", ["sample", "kink", "cuff"])
def test_each_is_found_with_its_times_and_nothing_on_another_line(
    tmp_path: Path, bed: Bed, name: str
) -> None:
    waves = bed.waves()
    span = lay(waves, bed, name)
    with case(tmp_path, waves, bed.rate_hz) as one:
        [found] = seen(one)
        others = [channel.name for channel in one.channels if channel.name != "left_radial"]
        assert [other for other in others if seen(one, other)] == []
    assert found.code == CODE[name]
    assert found.start == pytest.approx(span[0], abs=TOLERANCE_S[found.code])
    assert found.end == pytest.approx(span[1], abs=TOLERANCE_S[found.code])


def test_a_line_without_anything_on_it_has_none(tmp_path: Path) -> None:
    for number, bed in enumerate((Bed(), BYPASS, EJECTING)):
        assert found_in(tmp_path / str(number), bed.waves()) == []


def test_the_rate_of_a_clock_that_is_no_whole_number_of_samples_changes_nothing(tmp_path: Path) -> None:
    # 62.5 Hz: five samples are one step of 0.08 s; every other sample of 125 Hz.
    bed = Bed(rate_hz=125)
    waves = bed.waves()
    span = lay(waves, bed, "kink")
    channels = [
        even(
            label,
            np.rint(wave[::2] * 20).astype(np.int16),
            [Segment(0.0, 0, (wave.size + 1) // 2, 62.5, 0.05)],
        )
        for label, wave in waves.items()
    ]
    with case_of(tmp_path / "case", recording("monitor", channels)) as one:
        [found] = seen(one)
    assert found.start == pytest.approx(span[0], abs=3)
    assert found.end == pytest.approx(span[1], abs=3)


@pytest.mark.parametrize("start_s", [80.0, 113.3, 200.7])
def test_a_find_moves_with_what_was_laid(tmp_path: Path, start_s: float) -> None:
    waves = Bed().waves()
    span = lay(waves, Bed(), "cuff", start_s=start_s)
    with case(tmp_path, waves, 100) as one:
        [found] = seen(one)
    assert (found.start, found.end) == (pytest.approx(span[0], abs=3), pytest.approx(span[1], abs=3))


@pytest.mark.parametrize("drift", [-8.0, 0.0, 15.0])
@pytest.mark.parametrize("length_s", [20.0, 110.0])
def test_a_sample_may_drift_and_is_masked_until_its_flush_is_over(
    tmp_path: Path, drift: float, length_s: float
) -> None:
    waves = Bed().waves()
    start, end = lay(waves, Bed(), "sample", length_s=length_s, depth=drift)
    with case(tmp_path, waves, 100) as one:
        channel = one["left_radial"]
        [found] = seen(one)
        assert found.code == "A3"
        state = seconds_state(channel, one.grid)
        # Every second from the tap's closing to the end of its flush, and the second of its ring.
        assert (state[int(start) + 1 : int(end) + 1] == MASKED).all()
        assert (state[: int(start) - 3] != MASKED).all()
        assert (state[int(end) + 4 :] != MASKED).all()
        assert (quality_class(channel, one.grid)[int(start) + 1 : int(end)] == 3).all()


def test_a_kink_of_the_femoral_line_on_bypass_tells_its_drift(tmp_path: Path) -> None:
    # As in the invented case: from 66 towards 38 mmHg, and after 150 s (six time constants) it is there.
    waves = BYPASS.waves()
    lay(waves, BYPASS, "kink", "FEM", length_s=120.0, depth=38.0)
    with case(tmp_path, waves, 100) as one:
        [found] = seen(one, "femoral")
        assert seen(one) == []
    assert found.code == "A5"
    assert found.evidence["before_mmhg"] == pytest.approx(66, abs=2)
    assert found.evidence["level_mmhg"] == pytest.approx(38, abs=2)
    assert found.evidence["others_kept"] == "left_radial"
    # The ripple of the invented recordings is 2.2 a second, 1.5 mmHg from highest to lowest.
    assert found.evidence["ripple_hz"] == pytest.approx(2.2, abs=0.05)
    assert found.evidence["movement_before_mmhg"] == pytest.approx(1.5, abs=0.3)
    assert found.evidence["movement_left_mmhg"] < 0.5


def test_a_kink_at_the_end_of_the_record_says_that_no_end_was_seen(tmp_path: Path) -> None:
    waves = Bed().waves()
    lay(waves, Bed(), "kink", length_s=LENGTH_S - START_S)
    cut = {label: wave[: 290 * 100] for label, wave in waves.items()}
    with case(tmp_path, cut, 100) as one:
        [found] = seen(one)
    assert found.evidence["came_back"] is False
    assert found.end == pytest.approx(290, abs=2)


@pytest.mark.parametrize("name", ["sample", "kink", "cuff"])
@pytest.mark.parametrize("bed", [Bed(), BYPASS], ids=["pulse", "ripple"])
def test_with_the_future_hidden_nothing_is_called_what_it_is_not(tmp_path: Path, bed: Bed, name: str) -> None:
    # As in a replay: what is not over yet must not be called something else.
    waves = bed.waves()
    start, end = lay(waves, bed, name)
    with case(tmp_path, waves, 100) as one:
        for until in (*np.arange(start + 5, end + 12, 4.3), end + 30):
            for found in seen(one.until(float(until))):
                assert found.code == CODE[name], until
                assert found.start == pytest.approx(start, abs=TOLERANCE_S[found.code])
        assert seen(one.until(end + 30))


def test_a_wedged_pulmonary_artery_line_is_a_kink_of_its_own_kind(tmp_path: Path) -> None:
    bed = Bed(lines=("LRAD", "PA"))
    waves = bed.waves()
    start, end = lay(waves, bed, "kink", "PA", length_s=40.0, depth=13.0)
    with case(tmp_path, waves, 100) as one:
        [found] = seen(one, "pa")
        assert seen(one) == []
    assert found.code == "A5"
    assert "wedge" in found.evidence["reason"]
    assert (found.start, found.end) == (pytest.approx(start, abs=3), pytest.approx(end, abs=3))


def test_a_closed_tap_that_is_opened_to_air_before_its_flush_is_one_sample(tmp_path: Path) -> None:
    waves = Bed().waves()
    start, _ = lay(waves, Bed(), "sample", length_s=30.0)
    _, opened = lay(waves, Bed(), "zero", length_s=8.0, start_s=START_S + 27.0, depth=0.0)
    _, flushed = lay(waves, Bed(), "flush", length_s=2.0, start_s=opened, depth=290.0)
    with case(tmp_path, waves, 100) as one:
        [found] = [one for one in seen(one) if one.code == "A3"]
    assert (found.start, found.end) == (pytest.approx(start, abs=3), pytest.approx(flushed, abs=3))


def test_a_leg_has_no_cuff_upstream_of_its_line(tmp_path: Path) -> None:
    waves = Bed().waves()
    start, end = lay(waves, Bed(), "cuff", "FEM")
    with case(tmp_path, waves, 100) as one:
        [found] = seen(one, "femoral")
    assert found.code == "A5"
    assert (found.start, found.end) == (pytest.approx(start, abs=3), pytest.approx(end, abs=3))


def test_the_second_vignette_marks_the_cuff_and_not_the_malperfusion(tmp_path: Path) -> None:
    # Its truth: a cuff 8:40-9:10; at 3:40-5:25 the same arm has no pulse, and it is true: line pressure,
    # the other lines and a head saturation change with it.
    build_vignettes(tmp_path / "files")
    with bring_in(tmp_path / "files" / WHICH_ARM.name, tmp_path / "case") as one:
        [found] = seen(one)
        assert found.code == "A6"
        assert (found.start, found.end) == (pytest.approx(520, abs=3), pytest.approx(550, abs=3))
        assert not seen(one, "right_radial")
        assert not seen(one, "femoral")


# -- what only looks like it -----------------------------------------------------------------------


def dip(level: float, low: float, start: float, down: float, end: float, up: float) -> Points:
    return ((0.0, level), (start, level), (start + down, low), (end, low), (end + up, level))


COLLAPSE = Bed(
    mean=dip(76, 28, 150, 10, 190, 10), pulse=dip(45, 0, 150, 10, 190, 10), rate=dip(75, 75, 150, 1, 190, 1)
)
ARREST = Bed(
    mean=dip(66, 9, 130, 30, 240, 20), pulse=still(0.0), rate=still(0.0), flow=dip(4.5, 0, 130, 5, 240, 5)
)
FIBRILLATION = Bed(
    mean=dip(66, 58, 120, 10, 220, 10),
    pulse=still(9.0),
    rate=((0, 70), (119.9, 70), (120, 0), (220, 0), (220.1, 70)),
    flow=still(4.5),
    fibrillating=((120.0, 220.0),),
)
GOING_ON = Bed(mean=still(70), pulse=((0, 45), (120, 45), (180, 0)), flow=((0, 0), (120, 0), (180, 4.5)))
LOW_FLOW = replace(BYPASS, mean=dip(66, 42, 140, 8, 220, 8), flow=dip(4.5, 2.4, 140, 8, 220, 8))


@pytest.mark.parametrize(
    "bed",
    [COLLAPSE, ARREST, FIBRILLATION, GOING_ON, LOW_FLOW],
    ids=["collapse", "arrest", "fibrillation", "going on", "low flow"],
)
@pytest.mark.parametrize("lines", [("LRAD", "FEM"), ("LRAD", "PA"), ("LRAD",)], ids=str)
def test_what_the_patient_does_is_none_whatever_lines_are_in(
    tmp_path: Path, bed: Bed, lines: tuple[str, ...]
) -> None:
    placed = replace(bed, lines=lines)
    flow = np.interp(np.arange(LENGTH_S), *zip(*bed.flow, strict=True))
    assert found_in(tmp_path, placed.waves(), pump_flow=flow) == []


@pytest.mark.parametrize("lines", [("LRAD", "FEM"), ("LRAD",)], ids=str)
def test_a_flush_while_nobody_beats_makes_no_sample_of_it(tmp_path: Path, lines: tuple[str, ...]) -> None:
    for number, (bed, at) in enumerate(((COLLAPSE, 185.0), (ARREST, 200.0), (FIBRILLATION, 160.0))):
        placed = replace(bed, lines=lines)
        waves = placed.waves()
        lay(waves, placed, "flush", length_s=2.0, start_s=at, depth=290.0)
        flow = np.interp(np.arange(LENGTH_S), *zip(*bed.flow, strict=True))
        assert found_in(tmp_path / str(number), waves, pump_flow=flow) == [], number


def test_a_flush_alone_is_no_sample(tmp_path: Path) -> None:
    for number, bed in enumerate((Bed(), BYPASS)):
        waves = bed.waves()
        lay(waves, bed, "flush", length_s=3.0, depth=290.0)
        assert found_in(tmp_path / str(number), waves) == []


def test_a_pulse_that_is_lost_for_a_while_without_flush_or_drift_is_none_of_them(tmp_path: Path) -> None:
    # Each of the three asks for more than a lost pulse: a flush, a drift of 8 mmHg, a fall of 12 mmHg.
    waves = Bed().waves()
    lay(waves, Bed(), "kink", length_s=40.0, depth=74.0)
    assert found_in(tmp_path, waves) == []


@pytest.mark.parametrize(("length_s", "codes"), [(5.0, []), (150.0, ["A5"]), (60.0, ["A3"])])
def test_a_sample_lasts_10_to_120_seconds(tmp_path: Path, length_s: float, codes: list[str]) -> None:
    waves = Bed().waves()
    lay(waves, Bed(), "sample", length_s=length_s + 3, start_s=100.0, depth=3.0)
    found = found_in(tmp_path, waves)
    assert [one.code for one in found] == codes
    # Longer than a sample it is a line that is shut, and the flush is told with it.
    assert all("a flush ended it" in one.evidence["reason"] for one in found if one.code == "A5")


def flat(wave: FloatArray, start_s: float, end_s: float, level: float) -> FloatArray:
    """The wave at one level, with the noise of its line."""
    out = wave.copy()
    piece = slice(round(start_s * 100), round(end_s * 100))
    out[piece] = level + NOISE_SD * np.random.default_rng(11).standard_normal(out[piece].size)
    return out


@pytest.mark.parametrize(("start_s", "end_s", "count"), [(100, 162, 1), (80, 290, 1), (100, 140, 0)])
def test_a_line_without_a_pulse_at_its_own_level_is_shut(
    tmp_path: Path, start_s: float, end_s: float, count: int
) -> None:
    # 60 s are those from which the project's description of the patterns calls a line damped (its A4).
    waves = Bed().waves()
    waves["LRAD"] = flat(waves["LRAD"], start_s, end_s, 77.0)
    with case(tmp_path, waves, 100) as one:
        found = seen(one)
        assert [each.code for each in found] == ["A5"] * count
        assert seen(one, "femoral") == []
        if count:
            assert (found[0].start, found[0].end) == pytest.approx((start_s, end_s), abs=3.0)
            assert "level kept at 77 mmHg" in found[0].evidence["reason"]
            grid = np.asarray(one.grid, np.float64)
            assert quality_class(one["left_radial"], grid)[start_s + 3 : end_s - 3].min() == 3


def test_every_line_without_a_pulse_at_its_own_level_is_the_patient(tmp_path: Path) -> None:
    waves = {name: flat(wave, 100, 200, 70.0) for name, wave in Bed().waves().items()}
    assert found_in(tmp_path, waves) == []


def faded(wave: FloatArray, start_s: float, end_s: float, level: float, tau_s: float) -> FloatArray:
    """The wave with pulse and mean drifting to a level, by a time constant, as where a catheter slowly kinks."""
    t = np.arange(wave.size) / 100
    left = np.where((t >= start_s) & (t < end_s), np.exp(-np.maximum(t - start_s, 0) / tau_s), 1.0)
    noise = NOISE_SD * np.random.default_rng(12).standard_normal(wave.size)
    return level + (wave - level) * left + (1 - left) * noise


@pytest.mark.parametrize(("tau_s", "end_s"), [(4.0, 1000.0), (8.0, 1000.0), (40.0, 1000.0), (40.0, 800.0)])
def test_a_catheter_that_kinks_slowly_and_for_long_is_put_back_to_where_it_began(
    tmp_path: Path, tau_s: float, end_s: float
) -> None:
    bed = replace(Bed(), lines=("LRAD", "FEM"))
    pressures = {label: Pressure(bed.mean, bed.pulse) for label in bed.lines}
    waves = record(Course(1000, 100, pressures, heart_rate=bed.rate, flow=bed.flow), 5, 1.0)
    waves["FEM"] = faded(waves["FEM"], 200.0, end_s, 38.0, tau_s)
    with case(tmp_path, waves, 100) as one:
        [found] = seen(one, "femoral")
        assert found.code == "A5"
        assert (found.start, found.end) == pytest.approx((200.0, end_s), abs=TOLERANCE_S["A5"])
        assert seen(one) == []


def test_a_shut_line_is_told_no_longer_than_another_line_shows_it(tmp_path: Path) -> None:
    # The pump takes over at 600 s: nothing has a pulse any more, and the level is that of the other line again.
    pressures = {
        label: Pressure(
            ((0.0, 76.0), (600.0, 76.0), (620.0, 60.0)), ((0.0, 45.0), (600.0, 45.0), (620.0, 0.0))
        )
        for label in ("LRAD", "FEM")
    }
    course = Course(
        1000,
        100,
        pressures,
        heart_rate=((0.0, 75.0), (615.0, 75.0), (620.0, 0.0)),
        flow=((0.0, 0.0), (600.0, 0.0), (620.0, 4.5)),
    )
    waves = record(course, 5, 1.0)
    waves["FEM"] = flat(flat(waves["FEM"], 300.0, 620.0, 60.0), 620.0, 1000.0, 60.0)
    with case(tmp_path, waves, 100) as one:
        [found] = seen(one, "femoral")
        assert (found.start, found.end) == pytest.approx((300.0, 620.0), abs=15.0)


def test_a_fall_that_is_longer_than_a_cuff_is_no_cuff(tmp_path: Path) -> None:
    waves = Bed().waves()
    lay(waves, Bed(), "cuff", length_s=110.0)
    assert "A6" not in [one.code for one in found_in(tmp_path, waves)]


def test_a_flat_line_that_falls_only_at_its_end_is_no_cuff(tmp_path: Path) -> None:
    # The first half of it never comes down: there is no fall to date.
    waves = Bed().waves()
    held = flat(waves["LRAD"], 100.0, 126.0, 84.0)
    fallen = flat(held, 126.0, 138.0, 42.0)
    waves["LRAD"] = fallen
    assert "A6" not in [one.code for one in found_in(tmp_path, waves)]


def test_a_gradient_keeps_its_pulse_and_is_no_kink(tmp_path: Path) -> None:
    # The mean of one line sinks by 18 mmHg within a minute and its pulse narrows to half.
    bed = Bed()
    sunk = replace(bed, mean=dip(76, 58, 140, 40, 260, 20), pulse=dip(45, 22, 140, 40, 260, 20))
    waves = {**bed.waves(), "LRAD": sunk.waves()["LRAD"]}
    assert found_in(tmp_path, waves) == []


@pytest.mark.parametrize("name", ["kink", "cuff"])
def test_a_loss_that_pump_or_head_goes_along_with_is_the_patient_s(tmp_path: Path, name: str) -> None:
    bed = EJECTING
    waves = bed.waves()
    start, end = lay(waves, bed, name)
    t = np.arange(float(LENGTH_S))
    inside = (t >= start) & (t < end)
    steady = {"pump_flow": np.full(t.size, 4.5), "line_pressure": np.full(t.size, 200.0)}
    head = {"NIRS_L": np.full(t.size, 62.0), "NIRS_R": np.full(t.size, 63.0)}
    assert [one.code for one in found_in(tmp_path / "steady", waves, **steady, **head)] == [CODE[name]]
    for number, changed in enumerate(
        (
            {"pump_flow": np.where(inside, 3.2, 4.5)},
            {"line_pressure": np.where(inside, 320.0, 200.0)},
            {"NIRS_L": np.where(inside | (t >= end), 50.0, 62.0)},
        )
    ):
        assert found_in(tmp_path / str(number), waves, **{**steady, **head, **changed}) == [], changed.keys()
    right = {"NIRS_R": np.where(inside, 50.0, 63.0)}  # the other side's says nothing of this arm
    assert len(found_in(tmp_path / "right", waves, **{**steady, **head, **right})) == 1


def test_a_loss_that_another_line_goes_along_with_is_the_patient_s(tmp_path: Path) -> None:
    bed = Bed(lines=("LRAD", "RRAD", "FEM"))
    waves = bed.waves()
    lay(waves, bed, "kink")
    assert [one.code for one in found_in(tmp_path / "alone", waves)] == ["A5"]
    # The femoral pressure rises by 20 mmHg meanwhile and keeps its pulse; more than 10 is more than stayed.
    raised = replace(bed, mean=dip(76, 96, 150, 5, 240, 5)).waves()["FEM"]
    assert found_in(tmp_path / "raised", {**waves, "FEM": raised}) == []
    # It loses its pulse at the same level, while the right arm keeps its own.
    narrow = replace(bed, pulse=dip(45, 0, 150, 2, 240, 2)).waves()["FEM"]
    assert found_in(tmp_path / "narrow", {**waves, "FEM": narrow}) == []


# -- with little or nothing to go by ---------------------------------------------------------------


@pytest.mark.parametrize("name", ["kink", "cuff"])
def test_without_another_line_no_kink_and_no_cuff_is_told(tmp_path: Path, name: str) -> None:
    bed = Bed(lines=("LRAD",))
    waves = bed.waves()
    lay(waves, bed, name)
    assert found_in(tmp_path, waves) == []


def test_without_another_line_a_sample_is_told_by_its_flush_and_says_that_none_could_tell(
    tmp_path: Path,
) -> None:
    bed = Bed(lines=("LRAD",))
    waves = bed.waves()
    lay(waves, bed, "sample")
    [found] = found_in(tmp_path, waves)
    assert (found.code, found.evidence["others_kept"]) == ("A3", "none")


def test_a_venous_pressure_is_no_witness_of_an_artery(tmp_path: Path) -> None:
    waves = Bed().waves()
    lay(waves, Bed(), "kink")
    pulse = waves["FEM"] - waves["FEM"].mean()
    assert found_in(tmp_path, {"LRAD": waves["LRAD"], "CVP": 10 + 0.3 * pulse}) == []


def test_the_same_line_recorded_twice_is_no_witness_of_itself(tmp_path: Path) -> None:
    bed = Bed(lines=("LRAD",))
    waves = bed.waves()
    lay(waves, bed, "kink")
    codes = np.rint(waves["LRAD"] * 20).astype(np.int16)
    twice = [
        recording(name, [even("LRAD", codes, [Segment(0.0, 0, codes.size, 100, 0.05)])])
        for name in ("monitor", "second")
    ]
    with case_of(tmp_path / "case", *twice) as one:
        assert [
            found for channel in one.channels for found in artefacts(channel) if found.code in CODES
        ] == []


def test_a_line_without_pulse_and_ripple_has_nothing_to_lose(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    flat = {name: 60 + 0.7 * rng.standard_normal(LENGTH_S * 100) for name in ("LRAD", "FEM")}
    lay(flat, Bed(), "kink")
    assert found_in(tmp_path, flat) == []


# -- a tap closed against the flush bag ------------------------------------------------------------


def run_up_on(wave: FloatArray, start_s: float, rise: float, rise_s: float, held_s: float) -> FloatArray:
    """The wave with a pressure that runs up in a straight line, stays and is let go from one sample to the next."""
    out = wave.copy()
    first, top, last = (int((start_s + more) * 100) for more in (0, rise_s, rise_s + held_s))
    level = out[first]
    out[first:top] = level + rise * np.arange(top - first) / (top - first)
    out[top:last] = level + rise
    return out


@pytest.mark.parametrize("noise", [0.3, 2.0 / NOISE_SD])
@pytest.mark.parametrize(("rise", "rise_s", "held_s"), [(120, 3.5, 3.5), (100, 4.0, 0.0), (60, 5.0, 20.0)])
def test_a_pressure_that_runs_up_without_a_beat_and_is_let_go_is_a_closed_tap(
    tmp_path: Path, noise: float, rise: float, rise_s: float, held_s: float
) -> None:
    wave = Bed(lines=("LRAD",), noise=noise).waves()["LRAD"]
    [found] = found_in(tmp_path, {"LRAD": run_up_on(wave, START_S, rise, rise_s, held_s)})
    assert found.code == "A3"
    assert found.start == pytest.approx(START_S, abs=1)
    assert found.end == pytest.approx(START_S + rise_s + held_s, abs=1)
    assert found.evidence["run_up_mmhg"] == pytest.approx(rise, abs=15)


def test_a_pressure_that_a_pump_or_a_heart_brings_up_is_no_closed_tap(tmp_path: Path) -> None:
    # A pump that starts brings 60 mmHg within 5 s and no beat; nothing lets go of them.
    started = Bed(
        mean=((0, 8), (150, 8), (155, 68), (250, 68)), pulse=still(0), rate=still(0), flow=still(4.5)
    )
    assert found_in(tmp_path / "pump", started.waves()) == []
    # The same rise with beats on it, as after an ampoule of a vasopressor, and a fall within seconds.
    surge = Bed(mean=((0, 56), (150, 56), (158, 116), (170, 116), (173, 60)))
    assert found_in(tmp_path / "surge", surge.waves()) == []
    # A line that comes free beats with 70 mmHg at once, but its rise takes no second.
    freed = Bed(pulse=still(70.0))
    waves = freed.waves()
    lay(waves, freed, "kink", "FEM")
    assert [one.code for one in found_in(tmp_path / "freed", waves)] == ["A5"]
    # A long pause between beats: the pressure runs down, and up again with the next beat.
    for number, rate in enumerate((32.0, 180.0)):
        assert found_in(tmp_path / str(number), Bed(pulse=still(70.0), rate=still(rate)).waves()) == []


@pytest.mark.parametrize("pump", [True, False], ids=["pump recorded", "no pump recorded"])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.6, 0.9])
def test_a_pulse_that_is_there_at_once_as_the_pump_stops_is_no_closed_tap(
    tmp_path: Path, pump: bool, phase: float
) -> None:
    # Off bypass: half a minute after the flow began to fall the heart beats with all its pulse. The pressure lay
    # still before it with a ripple alone, and the first beat carries it 60 mmHg up.
    at = START_S - phase / (75 / 60)
    bed = Bed(((0, 58), (at, 58), (at + 0.02, 80)), ((0, 0), (at, 0), (at + 0.02, 60)), lines=("FEM",))
    stopping = np.interp(np.arange(LENGTH_S), [0, at - 60, at], [4.4, 4.4, 0.0])
    assert found_in(tmp_path, bed.waves(), **({"pump_flow": stopping} if pump else {})) == []


def test_run_ups_of_a_recorded_pulmonary_artery_line_are_those_that_are_seen(
    real_traces: Path, tmp_path: Path
) -> None:
    # Read from the trace by eye; the first is held at the top of the scale, 180 mmHg, for 3.5 s.
    scipy_io = pytest.importorskip("scipy.io")
    stored = scipy_io.loadmat(real_traces / "pulmonary" / "p004685-2121-02-20-16-06.mat")["signals"].ravel()
    wave = max((np.asarray(one, float).ravel() for one in stored), key=len)[4800 * 125 : 5600 * 125]
    codes = np.rint(np.nan_to_num(wave) * 20).astype(np.int16)
    channel = even("PA", codes, [Segment(0.0, 0, codes.size, 125, 0.05)], valid=np.isfinite(wave))
    with case_of(tmp_path / "case", recording("monitor", [channel])) as one:
        spans = [(found.start, found.end) for found in seen(one, "pa") if "run_up_mmhg" in found.evidence]
    by_eye = [(54.2, 61.2), (72.5, 77.2), (710.1, 714.5)]
    assert spans == [(pytest.approx(start, abs=0.5), pytest.approx(end, abs=0.5)) for start, end in by_eye]


@pytest.mark.parametrize(
    ("folder", "record"), [("arterial_600s", "03700181"), ("mixed_rates", "mixedsignals")]
)
@pytest.mark.parametrize("name", ["sample", "kink", "cuff"])
def test_each_is_found_on_a_recorded_pressure_too(
    real_traces: Path, tmp_path: Path, folder: str, record: str, name: str
) -> None:
    # The second line is the first, a little smaller and with noise: none with a second artery is at hand.
    wfdb = pytest.importorskip("wfdb")
    read = wfdb.rdrecord(str(real_traces / folder / record), channel_names=["ABP"], smooth_frames=False)
    wave = np.asarray(read.e_p_signal[0], float)[: 230 * 125]
    rate = read.fs * read.samps_per_frame[0]
    depth = {"sample": None, "kink": 0.55 * np.nanmean(wave), "cuff": 0.4 * np.nanmean(wave)}[name]
    spoilt, span = plant(name, wave, Line(rate), 100.0, USUAL_S[name], np.random.default_rng(2), depth)
    beside = 2 + 0.95 * wave + 0.5 * np.random.default_rng(1).standard_normal(wave.size)
    channels = [
        even(
            label,
            np.rint(np.nan_to_num(one) * 20).astype(np.int16),
            [Segment(0.0, 0, one.size, rate, 0.05)],
            valid=np.isfinite(one),
        )
        for label, one in (("LRAD", spoilt), ("FEM", beside))
    ]
    with case_of(tmp_path / "case", recording("monitor", channels)) as one:
        [found] = seen(one)
        assert seen(one, "femoral") == []
    assert found.code == CODE[name]
    assert found.start == pytest.approx(span[0], abs=TOLERANCE_S[found.code])
    assert found.end == pytest.approx(span[1], abs=TOLERANCE_S[found.code])


# -- movement: arithmetic --------------------------------------------------------------------------


def sinusoid(amplitude: float, hz: float, rate: float, seconds: float = 40.0) -> FloatArray:
    return amplitude * np.sin(2 * np.pi * hz * np.arange(int(seconds * rate)) / rate)


@pytest.mark.parametrize("rate", [50.0, 62.5, 100.0, 125.0, 128.0, 500.0])
@pytest.mark.parametrize("ripple_hz", [0.0, 2.0])
def test_the_power_of_a_sinusoid_is_half_the_square_of_its_amplitude(rate: float, ripple_hz: float) -> None:
    course = pulse_course(70 + sinusoid(3.0, 2.0, rate), rate, ripple_hz=ripple_hz)
    # Means over steps of 0.08 s keep sin(x)/x of it, x = pi * 2 * 0.08, squared 0.92; at 128 Hz no whole number
    # of samples is a step, and the straight lines between take some more.
    expected, within = 0.92 * 4.5, 0.2 if rate == 128 else 0.05
    assert np.median(course.power) == pytest.approx(expected, rel=within)
    assert np.mean(course.level) == pytest.approx(70, abs=0.1)


@pytest.mark.parametrize("ripple_hz", [0.0, 2.2])
def test_noise_alone_is_no_movement(ripple_hz: float) -> None:
    noise = 2.0 * np.random.default_rng(1).standard_normal(60 * 100)
    course = pulse_course(70 + noise, 100.0, ripple_hz=ripple_hz)
    # The mean of 8 samples has a variance of 0.5 square mmHg, which is taken off.
    assert np.median(course.power) < 0.15


def test_what_is_missing_has_no_movement() -> None:
    wave = 70 + sinusoid(3.0, 2.2, 100.0)
    wave[1000:2000] = np.nan
    course = pulse_course(wave, 100.0)
    assert np.isnan(course.power[course.between(13, 17)]).all()
    assert np.isfinite(course.power[course.between(2, 9)]).all()
    nothing = pulse_course(np.full(500, np.nan), 100.0)
    assert np.isnan(nothing.power).all()


@given(
    offset=st.floats(-50, 300),
    scale=st.floats(0.2, 5.0),
    seed=st.integers(0, 1000),
    hz=st.sampled_from([0.0, 1.5, 2.2]),
)
def test_movement_goes_with_the_square_of_the_wave_and_not_with_its_level(
    offset: float, scale: float, seed: int, hz: float
) -> None:
    rng = np.random.default_rng(seed)
    wave = sinusoid(4.0, float(rng.uniform(0.8, 3)), 100.0, 20) + rng.standard_normal(2000)
    one = pulse_course(wave, 100.0, ripple_hz=hz)
    other = pulse_course(offset + scale * wave, 100.0, ripple_hz=hz)
    np.testing.assert_allclose(other.power, scale**2 * one.power, rtol=1e-4, atol=1e-6 * scale**2)
    np.testing.assert_allclose(other.level, offset + scale * one.level, atol=1e-6)


# -- as finds --------------------------------------------------------------------------------------


def laid(code: str, start: float, end: float, **evidence: object) -> Artefact:
    return Artefact(code, start, end, {"reason": "made up", "others_kept": "femoral", **evidence})


def view_with(*seen_on_left: Artefact, **channels: list[tuple[float, float]]):
    lines = {"left_radial": [(0, 70), (1200, 70)], "femoral": [(0, 72), (1200, 72)]}
    made = trend_view(1200, {**lines, **channels}, arterial=("left_radial", "femoral"))
    return replace(made, artefacts={"left_radial": seen_on_left})


def test_each_becomes_a_find_with_what_else_it_could_be() -> None:
    found = find_in(view_with(laid("A3", 100, 140), laid("A5", 300, 450), laid("A6", 600, 635)))
    assert [(one.code, one.start_s, one.end_s) for one in found] == [
        ("A3", 100, 140),
        ("A5", 300, 450),
        ("A6", 600, 635),
    ]
    others = [{told["what"] for told in one.evidence["alternatives"]} for one in found]
    assert "a collapse" in others[0]
    assert "a true gradient between the sites" in others[1]
    assert "malperfusion of that arm" in others[2]


def test_a_sample_that_no_other_line_speaks_for_is_told_less_plainly() -> None:
    plain, alone = find_in(view_with(laid("A3", 100, 140), laid("A3", 500, 540, others_kept="none"))).of("A3")
    assert alone.confidence < plain.confidence


def test_a_cuff_tells_the_value_that_follows_and_the_interval() -> None:
    cuffs = [laid("A6", start, start + 35) for start in (100, 280, 460)]
    view = view_with(*cuffs)
    values = np.full(view.n, np.nan)
    values[460 + 35 + 20] = 64.0
    view = replace(view, values={**view.values, "cuff": values})
    first, _, last = find_in(view).of("A6")
    assert last.evidence["seen"]["every_s"] == 180
    assert last.evidence["seen"]["cuff_value_s"] == 20
    assert "every_s" not in first.evidence["seen"]
    assert "cuff_value_s" not in first.evidence["seen"]


def test_a_cuff_tells_what_the_saturation_of_its_side_did() -> None:
    saturation = [(0.0, 62.0), (630.0, 62.0), (640.0, 57.0), (1200.0, 57.0)]
    [found] = find_in(view_with(laid("A6", 600, 640), left_cerebral_saturation=saturation)).of("A6")
    assert found.evidence["seen"]["saturation_fall"] == pytest.approx(5.0)
