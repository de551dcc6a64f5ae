"""What the demo's recorders wrote: every artefact and event where ``truth.csv`` says, every clock as faulty as meant.

Figures without another source are those of the true rows and of the case's description in
``afterclamp.sample_traces``.
"""

from __future__ import annotations

import io
import itertools
import tomllib
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io.errors import CannotWrite
from afterclamp.sample_traces import __main__ as command
from afterclamp.sample_traces import build, rhythm, sources, tables, true_clock_maps, waves, write
from afterclamp.sample_traces.sources import Recorded
from afterclamp.sample_traces.trend import trend

ARTERIAL = ("LRAD", "RRAD", "FEM")
SECONDS = np.arange(21_000.0)
# Where the mean of a pressure is not that of the trend: one row of truth.csv each.
SPOILT = ("A1", "A2", "A3", "A5", "A6", "A7")


@pytest.fixture(scope="module")
def recorded() -> Recorded:
    return sources.record(build.SEED)


@pytest.fixture(scope="module")
def files(recorded: Recorded) -> dict[str, bytes]:
    return build.demo_files(recorded)


@pytest.fixture(scope="module")
def beats() -> rhythm.Beats:
    return waves.Scene.of(build.SEED).beats


def clock(text: str) -> float:
    """``"40:10"`` in seconds from the start."""
    return tables.seconds(text)


def steady(values: np.ndarray) -> np.ndarray:
    """Smoothed over three samples, so that noise hardly counts in a maximum."""
    return np.convolve(values, np.full(3, 1 / 3), mode="same")


def pulses(recorded: Recorded, beats: rhythm.Beats, name: str, start: float, end: float) -> np.ndarray:
    """Systolic less diastolic of each beat."""
    wave = steady(recorded.monitor.mmhg(name))
    return np.array(
        [np.ptp(wave[round(a * 100) : round(b * 100)]) for a, b in whole_beats(beats, start, end)]
    )


def whole_beats(beats: rhythm.Beats, start: float, end: float) -> list[tuple[float, float]]:
    inside = (beats.onset >= start) & (beats.onset + beats.length < end)
    return list(zip(beats.onset[inside], (beats.onset + beats.length)[inside], strict=True))


# Pressures


@pytest.mark.parametrize(("name", "column"), [(n, n) for n in ARTERIAL] + [("CVP", "CVP"), ("PA", "PAM")])
def test_recorded_means_are_the_trend_wherever_nothing_spoils_them(
    recorded: Recorded, name: str, column: str
) -> None:
    wave = recorded.monitor.mmhg(name).reshape(-1, 6000).mean(axis=1)
    expected = trend(column, SECONDS + 0.5).reshape(-1, 60).mean(axis=1)
    clean = ~np.isnan(wave) & ~np.isnan(expected)
    for code in SPOILT:
        for start, end in tables.spans(code, channel=column):
            clean[int(start // 60) : int(-(-end // 60))] = False
    assert clean.sum() > 170
    assert np.abs(wave - expected)[clean].max() < 1.0
    assert np.abs(wave - expected)[clean].mean() < 0.15


@pytest.mark.parametrize("start", ["20:00", "45:00", "62:00", "302:00", "310:00", "345:00"])
def test_femoral_pulse_pressure_is_the_keyframes(recorded: Recorded, beats: rhythm.Beats, start: str) -> None:
    at = clock(start)
    found = np.median(pulses(recorded, beats, "FEM", at - 15, at + 15))
    expected = float(trend("PP", at))
    assert found == pytest.approx(expected, abs=0.06 * expected + 1.5)


@pytest.mark.parametrize("start", ["22:00", "45:00", "310:00", "345:00"])
def test_heart_rate_is_the_keyframes(recorded: Recorded, start: str) -> None:
    from scipy.signal import find_peaks

    at = clock(start)
    systoles, _ = find_peaks(steady(recorded.monitor.mmhg("FEM", at - 30, at + 30)), prominence=20)
    assert len(systoles) == pytest.approx(float(trend("HR", at)), abs=2)


def test_intervals_spread_by_two_per_cent_and_less_when_paced(beats: rhythm.Beats) -> None:
    def spread(start: float, end: float) -> float:
        interval = np.diff(beats.onset[(beats.onset >= start) & (beats.onset < end)])
        rate = trend("HR", beats.onset[(beats.onset >= start) & (beats.onset < end)])[:-1]
        return float(np.std(interval * rate / 60))

    assert spread(clock("15:00"), clock("52:00")) == pytest.approx(0.02, abs=0.002)
    assert spread(clock("214:40"), clock("239:00")) < 0.01


def test_nine_early_beats_during_the_sternal_re_entry(recorded: Recorded) -> None:
    from scipy.signal import find_peaks

    ((start, end),) = tables.spans("E04")
    systoles, _ = find_peaks(steady(recorded.monitor.mmhg("FEM", start, end)), prominence=8, distance=25)
    intervals = np.diff(systoles)
    assert (intervals < 0.8 * np.median(intervals)).sum() == 9


def test_alternate_beats_differ_by_fourteen_mmhg(recorded: Recorded, beats: rhythm.Beats) -> None:
    ((start, end),) = tables.spans("E29")
    difference = np.diff(pulses(recorded, beats, "FEM", start + 1, end - 1))
    assert (np.sign(difference[1:]) != np.sign(difference[:-1])).all()
    assert np.abs(difference).mean() == pytest.approx(14, abs=1)


@pytest.mark.parametrize(("start", "end", "expected"), [("333:00", "338:00", 17), ("44:00", "50:00", 6)])
def test_pulse_pressure_varies_with_the_breath(
    recorded: Recorded, beats: rhythm.Beats, start: str, end: str, expected: float
) -> None:
    # Michard and others, Am J Respir Crit Care Med 2000;162:134-8: 100 (max - min) / mean of the two, over a breath.
    found = []
    for breath in np.arange(clock(start), clock(end), 5):
        pulse = pulses(recorded, beats, "FEM", breath - 0.3, breath + 5.3)
        found.append(100 * np.ptp(pulse) / ((pulse.max() + pulse.min()) / 2))
    assert np.mean(found) == pytest.approx(expected, abs=1.5)


def test_systolic_gradient_after_bypass_reaches_28(recorded: Recorded, beats: rhythm.Beats) -> None:
    femoral, radial = (steady(recorded.monitor.mmhg(name)) for name in ("FEM", "LRAD"))
    pieces = [
        slice(round(a * 100), round(b * 100)) for a, b in whole_beats(beats, clock("308:00"), clock("311:30"))
    ]
    gradient = [femoral[piece].max() - radial[piece].max() for piece in pieces]
    assert np.median(gradient) == pytest.approx(28, abs=1.5)


def test_pulmonary_pressure_before_bypass_is_86_over_34(recorded: Recorded, beats: rhythm.Beats) -> None:
    wave = steady(recorded.monitor.mmhg("PA"))
    pieces = [
        wave[round(a * 100) : round(b * 100)] for a, b in whole_beats(beats, clock("40:00"), clock("50:00"))
    ]
    assert np.median([piece.max() for piece in pieces]) == pytest.approx(86, abs=4)
    assert np.median([piece.min() for piece in pieces]) == pytest.approx(34, abs=4)


def band_power(wave: np.ndarray, low: float, high: float) -> float:
    power = np.abs(np.fft.rfft(wave - wave.mean())) ** 2 / wave.size**2 * 2
    frequency = np.fft.rfftfreq(wave.size, 0.01)
    return float(power[(frequency >= low) & (frequency < high)].sum())


def test_pump_ripple_is_at_2_2_hz_and_gone_without_flow(recorded: Recorded) -> None:
    on = recorded.monitor.mmhg("FEM", clock("110:00"), clock("111:00"))
    assert 2 * np.sqrt(2 * band_power(on, 2.1, 2.3)) == pytest.approx(1.5, abs=0.2)  # peak to peak
    off = recorded.monitor.mmhg("FEM", clock("140:00"), clock("141:00"))
    assert band_power(off, 2.1, 2.3) < 0.01
    alone = recorded.monitor.mmhg("FEM", clock("185:00"), clock("186:00"))
    assert band_power(alone, 2.1, 2.3) < 0.01


@pytest.mark.parametrize(("start", "end"), [("88:10", "89:10"), ("126:00", "127:00"), ("212:00", "213:00")])
def test_a_fibrillating_heart_ripples_between_3_and_8_hz(recorded: Recorded, start: str, end: str) -> None:
    wave = recorded.monitor.mmhg("FEM", clock(start), clock(end))
    still = recorded.monitor.mmhg("FEM", clock("129:00"), clock("130:00"))
    assert band_power(wave, 3, 8) > 3 * band_power(still, 3, 8)
    assert band_power(wave, 9, 20) == pytest.approx(band_power(still, 9, 20), rel=0.3)


@pytest.mark.parametrize("name", ARTERIAL)
def test_no_beat_without_a_beating_heart(beats: rhythm.Beats, recorded: Recorded, name: str) -> None:
    silent = (beats.onset > clock("88:06")) & (beats.onset < clock("214:34"))
    assert not silent.any()
    wave = recorded.monitor.mmhg(name, clock("140:00"), clock("145:00"))
    assert wave.std() == pytest.approx(0.7, abs=0.05)  # noise alone
    assert 4 < wave.mean() < 11


# The line: second-order system and flush


def swings(ring: np.ndarray) -> tuple[float, float]:
    """Natural frequency and damping from the extremes of a ring about 0, sampled at 100 Hz."""
    from scipy.interpolate import CubicSpline

    curve = CubicSpline(np.arange(ring.size) / 100, ring)
    turns = curve.derivative().roots(extrapolate=False)[:4]
    damping = damping_from_ratio(float(np.mean(np.abs(curve(turns[1:]) / curve(turns[:-1])))))
    damped_hz = 1 / (2 * np.mean(np.diff(turns)))
    return damped_hz / np.sqrt(1 - damping**2), damping


def damping_from_ratio(ratio: float) -> float:
    return float(-np.log(ratio) / np.hypot(np.pi, np.log(ratio)))


def test_damping_formula_gives_the_books_example() -> None:
    # Miller's Anesthesia, 6th ed., fig. 32-11: adjacent swings of 24 and 17 mm, damping 0.11.
    assert damping_from_ratio(17 / 24) == pytest.approx(0.109, abs=0.001)


def test_a_flush_rings_at_14_7_hz_with_damping_0_22(recorded: Recorded) -> None:
    found = []
    for start, _ in tables.spans("A2"):
        found.append(swings(recorded.monitor.mmhg("LRAD", start + 0.03, start + 0.4) - 300))
    frequency, damping = np.median(found, axis=0)
    assert frequency == pytest.approx(14.7, abs=0.5)
    assert damping == pytest.approx(0.22, abs=0.03)


@pytest.mark.parametrize(("name", "natural_hz", "damping"), [("LRAD", 14.7, 0.22), ("FEM", 22.0, 0.35)])
def test_a_line_answers_a_step_as_a_second_order_system(name: str, natural_hz: float, damping: float) -> None:
    # Step response of an underdamped second-order system, any textbook of control:
    # 1 - exp(-z w t) (cos wd t + z / sqrt(1 - z^2) sin wd t), wd = w sqrt(1 - z^2).
    t = np.arange(100) / 100
    natural, root = 2 * np.pi * natural_hz, np.sqrt(1 - damping**2)
    angle = natural * root * t
    expected = 1 - np.exp(-damping * natural * t) * (np.cos(angle) + damping / root * np.sin(angle))
    step = waves.SecondOrder(*waves.LINES[name])(np.repeat([0.0, 1.0], [5, 100]))
    np.testing.assert_allclose(step[5:], expected, atol=1e-9)


def test_flush_has_its_plateau_at_300(recorded: Recorded) -> None:
    for start, end in tables.spans("A2"):
        plateau = recorded.monitor.mmhg("LRAD", start + 0.5, end)
        assert plateau.mean() == pytest.approx(300, abs=0.5)
        assert plateau.std() < 1
        assert recorded.monitor.mmhg("LRAD", start - 1, start).max() < 150
        assert recorded.monitor.mmhg("LRAD", start, end).max() > 380  # rings past the bag's pressure
        assert recorded.monitor.mmhg("FEM", start, end).max() < 150


# Artefacts


@pytest.mark.parametrize("name", ARTERIAL)
def test_open_to_air_is_flat_at_zero(recorded: Recorded, name: str) -> None:
    ((start, end),) = tables.spans("A1", channel=name)
    wave = recorded.monitor.mmhg(name, start, end)
    assert np.abs(wave).max() < 3
    assert wave.std() == pytest.approx(0.5, abs=0.05)
    assert np.isnan(recorded.monitor.mmhg(name, 0, start)).all()
    assert recorded.monitor.mmhg(name, end + 1, end + 3).min() > 40


def test_the_cuff_flattens_the_left_arm_alone(recorded: Recorded) -> None:
    ((start, end),) = tables.spans("A6")
    flat = recorded.monitor.mmhg("LRAD", start + 9, start + 25)
    assert flat.mean() == pytest.approx(30, abs=0.5)
    assert flat.std() < 1
    for name in ("RRAD", "FEM"):
        assert recorded.monitor.mmhg(name, start + 9, start + 25).std() > 10
    assert recorded.monitor.mmhg("LRAD", end, end + 10).std() > 10
    assert any("cuff" in text.text and abs(text.start_s - end) < 60 for text in recorded.monitor.texts)


def test_a_kinked_femoral_catheter_drifts_to_38_without_ripple(recorded: Recorded) -> None:
    ((start, end),) = tables.spans("A5")
    last = recorded.monitor.mmhg("FEM", end - 30, end - 2)
    assert last.mean() == pytest.approx(38, abs=0.5)
    assert band_power(last, 2.1, 2.3) < 0.01
    # After one time constant of 25 s 37 % of the way is left.
    before = recorded.monitor.mmhg("FEM", start - 20, start).mean()
    later = recorded.monitor.mmhg("FEM", start + 24, start + 26).mean()
    assert (later - 38) / (before - 38) == pytest.approx(np.exp(-1), abs=0.03)
    assert recorded.monitor.mmhg("LRAD", end - 30, end - 2).mean() == pytest.approx(
        float(trend("LRAD", end)), abs=1
    )


def test_all_pressures_step_by_15_with_the_table(recorded: Recorded) -> None:
    ((start, end),) = tables.spans("A7")
    for name, column in (*((name, name) for name in ARTERIAL), ("CVP", "CVP"), ("PA", "PAM")):
        inside = recorded.monitor.mmhg(name, start + 5, end - 5).mean()
        assert inside - trend(column, np.arange(start + 5, end - 5)).mean() == pytest.approx(15, abs=0.5)
        after = recorded.monitor.mmhg(name, end, end + 20).mean()
        assert after - trend(column, np.arange(end, end + 20)).mean() == pytest.approx(0, abs=0.7)


def test_diathermy_comes_in_three_bursts_of_4_s(recorded: Recorded) -> None:
    ((start, _),) = tables.spans("A8")
    power = [
        band_power(recorded.monitor.mmhg("LRAD", s, s + 4), 20, 40) for s in start + np.arange(-4, 24, 4)
    ]
    noisy = np.array(power) > 10 * power[0]
    assert noisy.tolist() == [False, True, False, True, False, True, False]


def mean_beat(recorded: Recorded, beats: rhythm.Beats, name: str, start: float, end: float) -> np.ndarray:
    """Average of the beats of a stretch: noise and pump ripple, which don't keep step, go out."""
    wave = recorded.monitor.mmhg(name)
    pieces = [wave[round(a * 100) : round(a * 100) + 75] for a, _ in whole_beats(beats, start, end)]
    return np.mean(pieces, axis=0)


def test_a_clot_leaves_a_third_of_the_pulse_and_all_of_the_mean(
    recorded: Recorded, beats: rhythm.Beats
) -> None:
    ((start, end),) = tables.spans("A4")
    damped, other = (mean_beat(recorded, beats, name, start + 10, end - 5) for name in ("LRAD", "RRAD"))
    assert np.ptp(damped) / np.ptp(other) == pytest.approx(0.35, abs=0.06)
    cleared, other = (mean_beat(recorded, beats, name, end + 10, end + 400) for name in ("LRAD", "RRAD"))
    assert np.ptp(cleared) / np.ptp(other) == pytest.approx(1, abs=0.1)


def test_a_blood_sample_is_flat_and_ends_with_a_flush(recorded: Recorded) -> None:
    ((start, end),) = tables.spans("A3")
    shut = recorded.monitor.mmhg("LRAD", start + 1, end - 4)
    minute = np.arange(shut.size) / 6000
    assert (shut - np.polyval(np.polyfit(minute, shut, 1), minute)).std() < 0.8
    assert recorded.monitor.mmhg("LRAD", end - 2, end).mean() == pytest.approx(300, abs=0.5)
    assert recorded.monitor.mmhg("LRAD", end + 1, end + 20).mean() == pytest.approx(60, abs=2)


def test_a_catheter_that_is_not_there_leaves_nothing_and_a_line_that_says_so(recorded: Recorded) -> None:
    ((start, end),) = tables.spans("A9", channel="PAM")
    assert np.isnan(recorded.monitor.mmhg("PA", start, end)).all()
    assert not np.isnan(recorded.monitor.mmhg("PA", clock("34:00"), start)).any()
    assert not np.isnan(recorded.monitor.mmhg("PA", end)).any()
    assert (start, end - start, "withdrawn: PA") in [
        (text.start_s, text.duration_s, text.text) for text in recorded.monitor.texts
    ]


def test_the_femoral_pressure_falls_with_each_stop_of_the_pump(recorded: Recorded) -> None:
    for row in [row for row in tables.truth() if row.code == "E17"]:
        assert recorded.monitor.mmhg("FEM", row.start_s - 60, row.start_s - 10).mean() > 45
        assert recorded.monitor.mmhg("FEM", row.start_s + 120, row.end_s).mean() < 10


# Pump recorder


def flow_between(recorded: Recorded, start: float, end: float) -> np.ndarray:
    return write.between(recorded.pump, start, end).columns["pump flow (L/min)"]


def test_pump_stamps_repeat_for_30_s_where_its_clock_was_set_back(recorded: Recorded) -> None:
    stamp, true = recorded.pump.stamp_s, recorded.pump.true_s
    _, counts = np.unique(stamp, return_counts=True)
    assert (counts == 2).sum() == 30
    assert counts.max() == 2
    (step,) = np.flatnonzero(np.diff(stamp) < 0)
    assert true[step] < clock("150:00") <= true[step + 1]
    assert stamp[step + 1] - stamp[step] == 1 - 30


def test_pump_clock_is_94_s_ahead_and_gains_60_ppm(recorded: Recorded) -> None:
    assert write.clock(int(recorded.pump.stamp_s[0])) == "07:43:34"
    ahead = recorded.pump.stamp_s - tables.CLOCK_AT_ZERO_S - recorded.pump.true_s
    assert ahead[0] == pytest.approx(94.0)
    # 60 ppm of 350 minutes is 1.26 s; 30 s were taken off.
    assert ahead[-1] == pytest.approx(94.0 + 1.26 - 30, abs=0.001)
    assert np.diff(recorded.pump.true_s).min() == pytest.approx(1 / 1.00006)


def test_pump_cable_was_out_from_172_00_to_173_10(recorded: Recorded) -> None:
    true = recorded.pump.true_s
    (hole,) = np.flatnonzero(np.diff(true) > 1.5)
    assert true[hole] == pytest.approx(clock("172:00"), abs=1)
    assert true[hole + 1] == pytest.approx(clock("173:10"), abs=1)


def test_pump_copies_the_mean_of_the_second_before_its_stamp(recorded: Recorded) -> None:
    table = write.between(recorded.pump, clock("59:00"), clock("61:00"))
    for true, copied in zip(table.true_s, table.columns["femoral mean (mmHg)"], strict=True):
        end = round(true * 100)
        assert copied == pytest.approx(
            recorded.monitor.mmhg("FEM", end / 100 - 1, end / 100).mean(), abs=1e-6
        )


def test_pump_is_off_in_both_arrests_and_for_twelve_seconds_at_283(recorded: Recorded) -> None:
    for row in [row for row in tables.truth() if row.code == "E17"]:
        flow = flow_between(recorded, row.start_s + 1, row.end_s - 1)
        assert np.abs(flow).max() < 0.1
        assert flow.std() == pytest.approx(0.02, abs=0.002)
    stop = flow_between(recorded, clock("282:30"), clock("284:00"))
    assert (stop < 0.2).sum() == pytest.approx(12, abs=1)
    assert np.median(stop) == pytest.approx(4.6, abs=0.02)


def test_pump_columns_follow_the_trend(recorded: Recorded) -> None:
    warm = write.between(recorded.pump, clock("270:00"), clock("276:00"))
    assert warm.columns["outlet temp (degC)"].max() == pytest.approx(37.6, abs=0.01)
    table = write.between(recorded.pump, clock("60:01"), clock("306:59"))
    for name, column, sd in (("line pressure (mmHg)", "ALP", 0.7), ("reservoir (mL)", "RES", 15.0)):
        assert (table.columns[name] - trend(column, table.true_s)).std() == pytest.approx(sd, rel=0.05)
    saturation = write.between(recorded.pump, clock("132:00"), clock("149:00")).columns["SvO2 (%)"]
    assert np.isnan(saturation).all()  # stagnant


def test_venous_pressure_peaks_at_24_while_the_head_cannot_drain(recorded: Recorded) -> None:
    assert recorded.monitor.mmhg("CVP", clock("76:50"), clock("77:00")).mean() == pytest.approx(24, abs=0.5)
    assert recorded.monitor.mmhg("CVP", clock("73:00"), clock("74:00")).mean() == pytest.approx(5, abs=0.5)


# Oximeter


def test_oximeter_is_an_hour_and_37_s_slow_and_writes_whole_per_cent(recorded: Recorded) -> None:
    table = recorded.oximeter
    assert write.clock(int(table.stamp_s[0])) == "06:41:25"
    assert np.unique(np.diff(table.stamp_s)).tolist() == [5]
    behind = table.stamp_s - tables.CLOCK_AT_ZERO_S - table.true_s
    assert behind[0] == pytest.approx(-3637.0, abs=0.001)
    assert behind[-1] == pytest.approx(-3637.0 - 0.42, abs=0.001)  # 20 ppm of 350 minutes
    for values in table.columns.values():
        assert np.isnan(values[table.true_s < 120]).all()
        assert (values[table.true_s >= 120] % 1 == 0).all()


@pytest.mark.parametrize(
    ("start", "end", "left", "right"),
    [
        ("2:00", "4:00", 61, 61),
        ("76:50", "77:10", 45, 46),
        ("184:00", "187:00", 49, 63),
        ("110:00", "111:00", 64, 65),
    ],
)
def test_saturations_follow_the_trend(
    recorded: Recorded, start: str, end: str, left: float, right: float
) -> None:
    table = write.between(recorded.oximeter, clock(start), clock(end))
    assert np.mean(table.columns["NIRS L (%)"]) == pytest.approx(left, abs=1.2)
    assert np.mean(table.columns["NIRS R (%)"]) == pytest.approx(right, abs=1.2)


# Files


def edf_fields(content: bytes) -> tuple[dict[str, list[str]], np.ndarray]:
    """Header fields and data records of an EDF file by the published layout, without any library.

    Kemp and others, Electroencephalogr Clin Neurophysiol 1992;82:391-3.
    """
    count = int(content[252:256])
    widths = {"label": 16, "transducer": 80, "unit": 8, "physical_min": 8, "physical_max": 8, "digital_min": 8,
              "digital_max": 8, "filter": 80, "samples": 8}  # fmt: skip
    fields: dict[str, list[str]] = {}
    at = 256
    for name, width in widths.items():
        fields[name] = [content[at + i * width : at + (i + 1) * width].decode().strip() for i in range(count)]
        at += width * count
    records = np.frombuffer(content[int(content[184:192]) :], "<i2")
    return fields, records.reshape(int(content[236:244]), -1)


def test_monitor_file_holds_the_recorded_codes(recorded: Recorded, files: dict[str, bytes]) -> None:
    fields, records = edf_fields(files["monitor.edf"])
    assert fields["label"] == ["LRAD", "RRAD", "FEM", "CVP", "PA", "NP", "bladder", "EDF Annotations"]
    assert files["monitor.edf"][168:184] == b"01.01.8507.42.00"
    assert files["monitor.edf"][192:197] == b"EDF+C"
    assert fields["unit"] == ["mmHg"] * 5 + ["degC"] * 2 + [""]
    assert set(fields["physical_min"][:5]) == {"-600"}
    assert set(fields["physical_max"][:5]) == {"600"}
    starts = np.concatenate(([0], np.cumsum([int(samples) for samples in fields["samples"]])))
    codes = {**recorded.monitor.pressures, **recorded.monitor.temperatures}
    for i, label in enumerate(fields["label"][:-1]):
        np.testing.assert_array_equal(records[:, starts[i] : starts[i + 1]].ravel(), codes[label])


def test_monitor_file_is_read_by_edfio(files: dict[str, bytes]) -> None:
    import edfio

    edf = edfio.read_edf(io.BytesIO(files["monitor.edf"]))
    assert edf.starttime.isoformat() == "07:42:00"
    assert edf.duration == 21_000
    assert edf.is_continuous
    pressure = edf.get_signal("FEM")
    assert pressure.sampling_frequency == 100
    assert pressure.data[:1000].max() == -600
    temperature = edf.get_signal("NP").data
    assert temperature[0] == 0
    assert temperature[128 * 6] == pytest.approx(19.9, abs=1e-6)
    texts = {(note.onset, note.duration): note.text for note in edf.annotations}
    assert texts[0, 280] == "not connected: LRAD"
    assert texts[2616, None] == "cuff 121/68 (86)"


def test_pump_and_oximeter_files_are_read_by_pandas(recorded: Recorded, files: dict[str, bytes]) -> None:
    import pandas as pd

    pump = pd.read_csv(io.BytesIO(files["pump.csv"]))
    assert len(pump) == recorded.pump.stamp_s.size
    flow = recorded.pump.columns["pump flow (L/min)"]
    np.testing.assert_allclose(pump["pump flow (L/min)"], flow, atol=0.0051)
    assert (
        pump["line pressure (mmHg)"].count()
        == (~np.isnan(recorded.pump.columns["line pressure (mmHg)"])).sum()
    )
    oximeter = pd.read_csv(io.BytesIO(files["oximeter.txt"]), sep=";", decimal=",")
    assert oximeter["time"].iloc[0] == "06:41:25"
    np.testing.assert_array_equal(oximeter["NIRS R (%)"], recorded.oximeter.columns["NIRS R (%)"])


def test_captions_are_read_by_webvtt(files: dict[str, bytes]) -> None:
    import webvtt

    cues = webvtt.from_string(files["captions.vtt"].decode())
    assert len(cues) == 26
    assert cues[3].text == "Going on."
    assert cues[3].start == "00:39:50.000"
    assert all(a.end_in_seconds < b.start_in_seconds for a, b in itertools.pairwise(cues))


def test_log_stands_as_it_was_written(files: dict[str, bytes]) -> None:
    lines = files["log.csv"].decode().splitlines()
    assert len(lines) == 1 + 22
    assert lines[12] == '09:21,"line pressure high, sorted"'
    assert lines[-1] == "12:48,protamine"


def test_case_sheet_and_answers_are_toml(files: dict[str, bytes]) -> None:
    sheet = tomllib.loads(files["case-sheet.toml"].decode())
    assert sheet["patient"] == {"height_cm": 168, "weight_kg": 74, "sex": "female", "age_band": "50-59"}
    assert sheet["inflow"] == {"site": "axillary", "side": "right"}
    answers = tomllib.loads(files["answers.toml"].decode())
    for name, pieces in true_clock_maps().items():
        for piece, written in zip(pieces, answers["clocks"][name]["pieces"], strict=True):
            assert written["offset_s"] == piece.offset_s
            assert written.get("drift_ppm", 0) == piece.drift_ppm
            assert written.get("run", 0) == piece.run


# Building


def test_build_writes_every_file_whole(
    recorded: Recorded, files: dict[str, bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sources, "record", lambda *_: recorded)
    told: list[float] = []
    paths = build.build_demo(tmp_path / "demo", lambda part, _: told.append(part))
    assert {path.name: path.read_bytes() for path in paths} == files
    assert sorted(path.name for path in (tmp_path / "demo").iterdir()) == sorted(files)
    assert told[-1] == 1.0
    assert told == sorted(told)


def test_a_place_that_cannot_be_written_is_named(
    recorded: Recorded, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sources, "record", lambda *_: recorded)
    blocked = tmp_path / "note.txt"
    blocked.write_text("in the way")
    with pytest.raises(CannotWrite, match=r"note\.txt"):
        build.build_demo(blocked)
    assert blocked.read_text() == "in the way"
    assert command.main([str(blocked)]) == 1
    assert "note.txt" in capsys.readouterr().err


def test_the_excerpt_is_what_the_generator_makes_again(recorded: Recorded) -> None:
    kept = {path.name: path.read_bytes() for path in (tables.FOLDER / "excerpt").iterdir()}
    assert build.excerpt_files(recorded) == kept


def test_what_is_kept_beside_the_tables_stays_small() -> None:
    sizes = [
        path.stat().st_size for path in tables.FOLDER.rglob("*") if path.suffix != ".pyc" and path.is_file()
    ]
    assert sum(sizes) < 1_500_000
    assert max(sizes) < 1500 * 1024


def test_another_seed_beats_at_other_times(beats: rhythm.Beats) -> None:
    other = rhythm.beats(np.random.default_rng([2, 1]))
    again = rhythm.beats(np.random.default_rng([build.SEED, 1]))
    assert not np.array_equal(other.onset[:100], beats.onset[:100])
    np.testing.assert_array_equal(again.onset, beats.onset)
