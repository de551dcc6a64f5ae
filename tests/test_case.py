"""A case read by window: against arithmetic on the same samples, gaps, clocks, and the hidden future."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io.case import Case
from afterclamp.io.errors import CaseFolderUnreadable, NoSuchChannel
from afterclamp.io.recording import Note, RecordedChannel, Segment, one_block
from hypothesis import given, settings
from hypothesis import strategies as st
from recordings import START, case_of, even, recording

RATE = 100.0
HALF = 30_000  # samples before the gap: 300 s
GAP_S = 37.35


@pytest.fixture(scope="module")
def raw() -> dict[str, np.ndarray]:
    rng = np.random.default_rng(4)
    count = 2 * HALF
    codes = (rng.normal(0, 200, count) + 3000 * np.sin(np.arange(count) / 500)).astype(np.int16)
    valid = np.ones(count, bool)
    valid[5000:5350] = False
    t = np.arange(count) / RATE
    t[HALF:] += GAP_S
    scale = np.where(np.arange(count) < HALF, 0.05, 0.1)
    values = np.where(valid, codes * scale + 10, np.nan)
    return {"codes": codes, "valid": valid, "t": t, "values": values}


@pytest.fixture(scope="module")
def case(raw: dict[str, np.ndarray], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    segments = [
        Segment(0.0, 0, HALF, RATE, 0.05, 10.0),
        Segment(HALF / RATE + GAP_S, HALF, HALF, RATE, 0.1, 10.0),
    ]
    wave = even("FEM", raw["codes"], segments, valid=raw["valid"], block=12_345)
    flow = even("Flow", np.arange(600, dtype="f4"), [Segment(0.0, 0, 600, 1.0)], unit="L/min")
    kept = RecordedChannel(
        "hb",
        "Hb",
        "g/L",
        np.dtype("f4"),
        3,
        one_block(np.array([90, 95, 100], "f4")),
        times=np.array([0.0, 60, 200]),
    )
    opened = case_of(
        tmp_path_factory.mktemp("case") / "c",
        recording("monitor", [wave], notes=[Note(12.0, 12.0, "zero")]),
        recording("pump", [flow, kept], first_stamp=START + timedelta(seconds=5)),
    )
    yield opened
    opened.close()


windows = st.tuples(st.floats(-20, 640), st.floats(0.02, 640), st.integers(1, 400))


@settings(max_examples=60, deadline=None)
@given(windows)
def test_an_envelope_from_samples_is_exact_and_from_levels_within_a_bucket(
    case: Case, raw: dict[str, np.ndarray], window: tuple[float, float, int]
) -> None:
    t0, length, columns = window
    envelope = case["femoral"].envelope(t0, t0 + length, columns)
    width = length / columns
    reach = width if width * RATE >= 32 else 1e-6  # a level bucket may lie half a column to the left
    edges = t0 + width * np.arange(columns + 1)
    near = np.searchsorted(raw["t"], edges[:-1] - reach), np.searchsorted(raw["t"], edges[1:] + reach)
    for column in range(columns):
        inside = raw["values"][near[0][column] : near[1][column]]
        inside = inside[np.isfinite(inside)]
        if not len(inside):
            assert math.isnan(envelope.lo[column])
        elif not math.isnan(envelope.lo[column]):
            assert inside.min() - 1e-3 <= envelope.lo[column] <= envelope.hi[column] <= inside.max() + 1e-3


@pytest.mark.parametrize("columns", [7, 100, 1600])
def test_no_peak_is_lost_at_any_zoom(case: Case, raw: dict[str, np.ndarray], columns: int) -> None:
    envelope = case["femoral"].envelope(case.span.start, case.span.end, columns)
    assert np.nanmax(envelope.hi) == pytest.approx(np.nanmax(raw["values"]), abs=1e-3)
    assert np.nanmin(envelope.lo) == pytest.approx(np.nanmin(raw["values"]), abs=1e-3)


@settings(max_examples=40, deadline=None)
@given(
    # Off the samples' own times, where rounding decides.
    st.integers(-10_000, 640_000).map(lambda k: k / 1000 + 0.0003),
    st.integers(0, 400_000).map(lambda k: k / 1000),
)
def test_a_window_holds_the_samples_that_lie_in_it(
    case: Case, raw: dict[str, np.ndarray], t0: float, length: float
) -> None:
    samples = case["femoral"].read(t0, t0 + length)
    inside = (raw["t"] >= t0) & (raw["t"] < t0 + length)
    assert samples.t == pytest.approx(raw["t"][inside], abs=1e-6)
    assert np.allclose(samples.values, raw["values"][inside], atol=2e-3, equal_nan=True)


def test_a_second_is_the_mean_of_its_own_samples_and_missing_in_a_gap(
    case: Case, raw: dict[str, np.ndarray]
) -> None:
    means = case["femoral"].seconds()
    for second in (0, 49, 53, 299, 337, 400):
        inside = raw["values"][(raw["t"] >= second) & (raw["t"] < second + 1)]
        expected = np.nanmean(inside) if np.isfinite(inside).any() else np.nan
        assert means[second] == pytest.approx(expected, abs=1e-3, nan_ok=True)
    assert np.isnan(means[300:337]).all()
    assert case["femoral"].seconds("count")[310] == 0


def test_a_slow_value_is_held_three_intervals_and_no_longer(case: Case) -> None:
    # Rows every 60 and 140 s on a clock whose first stamp is 5 s later: the median interval is 100 s.
    held = case["haemoglobin"].seconds()
    assert held[int(5 + 200 + 299 - case.grid[0])] == pytest.approx(10.0)
    assert math.isnan(held[int(5 + 200 + 302 - case.grid[0])])


def test_a_channel_is_read_in_the_unit_of_its_kind_and_keeps_what_was_written(case: Case) -> None:
    channel = case["haemoglobin"]
    assert (channel.unit, channel.unit_as_written) == ("g/dL", "g/L")
    assert channel.read(0, 1000).values.tolist() == pytest.approx([9.0, 9.5, 10.0])


def test_stamps_place_a_source_until_its_clock_is_set(case: Case) -> None:
    assert case["pump_flow"].span.start == pytest.approx(5.0)
    edit = case.edit("mara", "clock", {"source": "pump", "pieces": [{"offset_s": 94.0}]})
    assert case["pump_flow"].span.start == pytest.approx(-89.0)
    case.log.undo("mara")
    case.refresh()
    assert case["pump_flow"].span.start == pytest.approx(5.0)
    assert edit.verb == "clock"


def test_a_source_without_a_date_belongs_to_the_nearest_day(tmp_path: Path) -> None:
    flow = even("Flow", np.zeros(10, "f4"), [Segment(0.0, 0, 10, 1.0)], unit="L/min")
    pump = recording("pump", [flow], first_stamp=START - timedelta(days=9, seconds=60))
    wave = even("FEM", np.zeros(1000, "i2"), [Segment(0.0, 0, 1000, 100.0)])
    pump = type(pump)(**{**pump.__dict__, "dated": False})
    with case_of(tmp_path / "c", recording("monitor", [wave]), pump) as opened:
        assert opened["pump_flow"].span.start == pytest.approx(-60.0)


@settings(max_examples=40, deadline=None)
@given(st.floats(1, 600), windows)
def test_until_reads_as_if_the_rest_had_never_been_recorded(
    case: Case, raw: dict[str, np.ndarray], horizon: float, window: tuple[float, float, int]
) -> None:
    view = case.until(horizon)
    assert view.span.end <= horizon
    samples = view["femoral"].read(-math.inf, math.inf)
    known = raw["t"] < horizon - 1e-9
    assert len(samples.t) == known.sum()
    t0, length, columns = window
    envelope = view["femoral"].envelope(t0, t0 + length, columns)
    past = t0 + length / columns * np.arange(columns) >= horizon
    assert np.isnan(envelope.hi[past]).all()
    if np.isfinite(envelope.hi).any():
        assert np.nanmax(envelope.hi) <= np.nanmax(raw["values"][known]) + 1e-3
    seconds = view["femoral"].seconds("max")
    assert len(seconds) == len(view.grid)
    assert not len(view.grid) or view.grid[-1] + 1 <= horizon + 1e-6
    whole = case["femoral"].seconds("max")
    shift = int(view.grid[0] - case.grid[0]) if len(view.grid) else 0
    assert np.allclose(seconds, whole[shift : shift + len(seconds)], equal_nan=True)


def test_until_hides_notes_that_were_not_yet_written(case: Case) -> None:
    assert [note.text for note in case.until(12.5).notes] == ["zero"]
    assert case.until(12.0).notes == ()


def test_a_name_that_fits_nothing_or_several_is_said(case: Case) -> None:
    with pytest.raises(NoSuchChannel, match="pump_flow"):
        case["left_radial"]
    assert case.get("left_radial") is None
    assert case["monitor/fem"] is case["femoral"]


def test_a_folder_that_is_no_case_is_said(tmp_path: Path) -> None:
    with pytest.raises(CaseFolderUnreadable, match="is not a case"):
        Case.open(tmp_path)


def test_the_clock_text_is_what_the_reference_clock_said(case: Case) -> None:
    assert case.clock_text(61.0) == "08:01:01"


def test_a_cached_result_is_computed_once_and_survives_a_damaged_cache(case: Case) -> None:
    asked: list[int] = []

    def compute() -> dict[str, np.ndarray]:
        asked.append(1)
        return {"a": np.arange(3)}

    for _ in range(2):
        assert case.cached("test", ("x",), compute)["a"].tolist() == [0, 1, 2]
    assert len(asked) == 1
    for path in (case.folder / "cache").glob("test-*.npz"):
        path.write_bytes(b"PK garbage")
    fresh = case.until(math.inf)
    assert fresh.cached("test", ("x",), compute)["a"].tolist() == [0, 1, 2]
