"""`Case.until(t)` against a case that was brought in from exports cut at t: what is not yet known leaves no trace."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io.case import Case
from afterclamp.io.channel import Channel
from afterclamp.io.recording import Note, RecordedChannel, Recording, Segment, one_block
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from recordings import case_of, even, recording

STEP_AT_S, STEP_S = 120.0, -30.0
"""Two minutes into its recording the pump's clock falls behind by half a minute, in the midst of its samples."""

numbers = itertools.count()

Pieces = list[tuple[float, int, float]]  # gap before, samples, samples a second
Rows = list[tuple[float, bool]]  # seconds since the row before, whether the clock was set back before it


def wave(label: str, pieces: Pieces, horizon: float, *, stepped: bool = False) -> RecordedChannel:
    """An even channel; of each piece what lies before the horizon."""
    segments, codes, at, first = [], [], 0.0, 0
    for gap, many, rate in pieces:
        at += gap
        t = at + np.arange(many) / rate
        if stepped:
            t = np.where(t >= STEP_AT_S, t - STEP_S, t)
        count = int((t < horizon).sum())
        if count:
            segments.append(Segment(at, first, count, rate, 0.5, 0.0))
            codes.append(((np.arange(count) * 7 + first) % 251).astype(np.int16))
            first += count
        at += many / rate
    held = np.concatenate(codes) if codes else np.empty(0, np.int16)
    return even(label, held, segments)


def rows(label: str, given_rows: Rows, horizon: float) -> RecordedChannel:
    """Uneven rows; each that stands before the horizon."""
    true = np.cumsum([step for step, _ in given_rows])
    runs = np.cumsum([back for _, back in given_rows]).astype(np.int32)
    stamps = true - 1000.0 * runs  # each run is put right again by the clock that the case is told
    keep = true < horizon
    values = np.arange(len(true), dtype="f4")[keep]
    block = one_block(values)
    told = {"times": stamps[keep], "runs": runs[keep]} if len(values) else {}
    return RecordedChannel(label.lower(), label, "g/dL", np.dtype("f4"), len(values), block, **told)


def sources(
    fast: Pieces, slow: Pieces, given_rows: Rows, notes: list[tuple[float, float]], horizon: float = math.inf
) -> Iterator[Recording]:
    kept = [Note(t, t + length, f"line {k}") for k, (t, length) in enumerate(notes) if t < horizon]
    yield recording("monitor", [wave("FEM", fast, horizon), wave("MAP", slow, horizon)], notes=kept)
    yield recording("pump", [wave("Art", slow, horizon, stepped=True)])
    yield recording("lab", [rows("Hb", given_rows, horizon)])


def opened(folder: Path, made: Iterator[Recording], runs: int) -> Case:
    case = case_of(folder / str(next(numbers)), *made)
    case.edit("mara", "reference", {"source": "monitor"})
    pieces = [{"offset_s": 0.0}, {"offset_s": STEP_S, "from_s": STEP_AT_S}]
    case.edit("mara", "clock", {"source": "pump", "pieces": pieces})
    pieces = [{"offset_s": -1000.0 * run, "run": run} for run in range(runs + 1)]
    case.edit("mara", "clock", {"source": "lab", "pieces": pieces})
    return case


@pytest.fixture(scope="module", autouse=True)
def not_waiting_for_the_disk() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("os.fsync", lambda _: None)
        yield


pieces = st.lists(
    st.tuples(
        st.integers(0, 60).map(float),
        st.integers(1, 700),
        st.sampled_from([0.1, 0.5, 1.0, 10.0, 25.0, 100.0]),
    ),
    min_size=1,
    max_size=4,
)
uneven = st.lists(st.tuples(st.integers(1, 90).map(float), st.booleans()), min_size=1, max_size=12)
lines = st.lists(st.tuples(st.integers(0, 900).map(float), st.integers(0, 60).map(float)), max_size=4)
# Off the samples' own times, where rounding decides.
horizons = st.integers(-2, 900).map(lambda second: second + 0.00317)


@example([(0.0, 5, 1.0)], [(0.0, 16_000, 100.0)], [(1.0, False)], [], 140.00317)
@settings(max_examples=15, phases=[Phase.explicit, Phase.generate])
@given(pieces, pieces, uneven, lines, horizons)
def test_until_reads_as_a_case_from_exports_cut_there(
    tmp_path_factory: pytest.TempPathFactory,
    fast: Pieces,
    slow: Pieces,
    given_rows: Rows,
    notes: list[tuple[float, float]],
    horizon: float,
) -> None:
    folder = tmp_path_factory.mktemp("until")
    with (
        opened(folder, sources(fast, slow, given_rows, notes), len(given_rows)) as whole,
        opened(folder, sources(fast, slow, given_rows, notes, horizon), len(given_rows)) as cut,
    ):
        view = whole.until(horizon)
        same_case(view, cut, horizon)
        for channel in view.channels:
            same_channel(channel, cut[channel.id], cut.until(horizon)[channel.id], view, cut, horizon)


def same_case(view: Case, cut: Case, horizon: float) -> None:
    assert [(n.t, n.t_end, n.text, n.sd_s) for n in view.notes] == [
        (n.t, min(n.t_end, horizon), n.text, n.sd_s) for n in cut.notes
    ]
    assert view.span.start == pytest.approx(cut.span.start)
    if cut.span.end > cut.span.start:
        assert view.span.end == pytest.approx(min(cut.span.end, horizon))
    assert view.grid.tolist() == [g for g in cut.grid.tolist() if g + 1 <= horizon]


def same_channel(
    one: Channel, other: Channel, other_until: Channel, view: Case, cut: Case, horizon: float
) -> None:
    near = {"abs": 1e-6, "nan_ok": True}
    assert one.interval_s == pytest.approx(other.interval_s, **near)
    assert one.is_wave == other.is_wave
    assert one.recorded_s == pytest.approx(other.recorded_s, **near)
    assert one.span.start == pytest.approx(other.span.start, **near)
    if other.span.end > other.span.start:
        assert one.span.end == pytest.approx(min(other.span.end, horizon), **near)
    assert [one.run_start(run) for run in range(4)] == [other.run_start(run) for run in range(4)]
    assert one.run_at(2000.0) == other.run_at(2000.0)
    ours, theirs = one.segments_reference(), other.segments_reference()
    assert len(ours) == len(theirs)
    for piece, reference in zip(ours, theirs, strict=True):
        assert piece == pytest.approx((reference[0], min(reference[1], horizon), reference[2]))
    samples, reference_samples = one.read(-math.inf, math.inf), other.read(-math.inf, math.inf)
    assert samples.t == pytest.approx(reference_samples.t, **near)
    assert same(samples.values, reference_samples.values)
    assert samples.interval_s == pytest.approx(reference_samples.interval_s, **near)
    assert [len(values) for *_, values in one.wave()] == [len(values) for *_, values in other.wave()]
    for statistic in ("mean", "min", "max", "count"):
        seconds, reference_seconds = one.seconds(statistic), other.seconds(statistic)
        assert same(seconds, reference_seconds[: len(seconds)])
    start = cut.span.start
    for columns in (3, 40, 900):
        for stop in (horizon - 0.4, horizon, cut.span.end):
            ours_drawn = one.envelope(start, max(stop, start + 1), columns)
            drawn = other_until.envelope(start, max(stop, start + 1), columns)
            assert same(ours_drawn.lo, drawn.lo)
            assert same(ours_drawn.hi, drawn.hi)
            if stop == horizon and len(reference_samples.t) and stop > start + 1:
                assert np.nanmax(ours_drawn.hi) == pytest.approx(
                    np.nanmax(reference_samples.values), abs=1e-3
                )


def same(a: NDArray[np.floating], b: NDArray[np.floating]) -> bool:
    return len(a) == len(b) and bool(np.allclose(a, b, atol=1e-6, equal_nan=True))


def test_rows_that_come_closer_later_do_not_shorten_how_long_a_value_is_held(tmp_path: Path) -> None:
    # A blood gas an hour, then one a minute: at three hours the last value is held three hours.
    times = np.array([0.0, 3600.0, 7200.0, *(10_800.0 + 60.0 * np.arange(50))])
    values = np.arange(len(times), dtype="f4")
    lab = RecordedChannel("hb", "Hb", "g/dL", np.dtype("f4"), len(times), one_block(values), times=times)
    with case_of(tmp_path / "c", recording("lab", [lab])) as case:
        assert case["lab/hb"].interval_s == 60.0
        assert case.until(10_000.0)["lab/hb"].interval_s == 3600.0
        assert case.until(10_000.0)["lab/hb"].seconds()[9990] == 2.0
