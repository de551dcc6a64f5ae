"""Which channels share a strip, how they are told apart, over which values a strip reaches."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io.case import Case, Span
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.replay.strips.lanes import Bar, lanes_of, within
from afterclamp.replay.strips.layout import strips_of
from afterclamp.replay.strips.places import places_of
from afterclamp.replay.strips.theme import PAPER
from recordings import case_of, even, recording

SECONDS = 600


def _wave(
    label: str, level: float = 80.0, unit: str = "mmHg", rate: float = 50.0, scale: float = 0.1
) -> RecordedChannel:
    t = np.arange(int(SECONDS * rate)) / rate
    codes = np.round((level + 5 * np.sin(2 * np.pi * 1.2 * t)) / scale).astype(np.int16)
    return even(label, codes, [Segment(0.0, 0, len(codes), rate, scale=scale)], unit=unit)


def _row(label: str, level: float, unit: str) -> RecordedChannel:
    codes = np.full(SECONDS, round(level * 10), np.int16)
    return even(label, codes, [Segment(0.0, 0, SECONDS, 1.0, scale=0.1)], unit=unit)


@pytest.fixture(scope="module")
def theatre(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    """Pressures, flow, temperatures and saturations under the labels that recorders give them."""
    channels = [
        _wave("Art Rad L"),
        _wave("Art Rad R"),
        _wave("Art Fem", 78),
        _wave("CVP", 10),
        _wave("PAP", 30),
        _row("pump flow", 4.4, "L/min"),
        _row("line pressure", 210, "mmHg"),
        _row("outlet temp", 22, "degC"),
        _row("venous temp", 24, "degC"),
        _row("NP temp", 25, "degC"),
        _row("NIRS L", 62, "%"),
        _row("NIRS R", 64, "%"),
        _wave("ECG II", 0, "mV", 100.0, 0.001),
    ]
    with case_of(tmp_path_factory.mktemp("theatre") / "case", recording("monitor", channels)) as case:
        yield case


def test_arterial_pressures_share_a_strip_and_differ_by_pattern(theatre: Case) -> None:
    strip = strips_of(theatre)[0]
    looks = {trace.name: (trace.colour, trace.pattern, trace.tag) for trace in strip.traces}
    # Okabe-Ito blue and sky blue; sites share one hue family and differ by pattern (this project's choice).
    assert looks == {
        "left radial": ("#0072B2", "solid", ""),
        "right radial": ("#0072B2", "dash", "R"),
        "femoral": ("#56B4E9", "thick", ""),
    }
    assert (strip.title, strip.unit, strip.y_range) == ("Arterial pressure", "mmHg", (0, 160))


def test_strips_stand_in_the_order_of_the_trade(theatre: Case) -> None:
    titles = [strip.title for strip in strips_of(theatre)]
    assert titles == [
        "Arterial pressure",
        "Venous and pulmonary",
        "Pump flow",
        "Line pressure",
        "Temperature",
        "Saturation",
        "ECG II",
    ]


def test_every_channel_stands_in_exactly_one_strip(theatre: Case) -> None:
    shown = [trace.channel.id for strip in strips_of(theatre) for trace in strip.traces]
    assert sorted(shown) == sorted(channel.id for channel in theatre.channels)


def test_no_two_traces_of_a_strip_share_name_or_look(theatre: Case) -> None:
    for strip in strips_of(theatre):
        for one, other in combinations(strip.traces, 2):
            assert (one.colour, one.pattern) != (other.colour, other.pattern)
            assert one.pattern != other.pattern or one.tag != other.tag
            assert one.name != other.name


def test_flow_is_a_step_line_and_saturations_are_paired_triangles(theatre: Case) -> None:
    by_title = {strip.title: strip for strip in strips_of(theatre)}
    assert by_title["Pump flow"].traces[0].pattern == "step"
    assert by_title["Line pressure"].traces[0].pattern == "dot"
    assert {t.name: t.pattern for t in by_title["Saturation"].traces} == {
        "left cerebral": "up",
        "right cerebral": "down",
    }
    assert {t.name: t.pattern for t in by_title["Temperature"].traces} == {
        "outlet": "solid",
        "venous": "dash",
        "nasopharyngeal": "core",
    }


def test_two_lines_of_the_same_site_can_be_told_apart(tmp_path: Path) -> None:
    case = case_of(
        tmp_path / "case",
        recording("bedside", [_wave("Art Rad L")]),
        recording("rack", [_wave("Art Rad L")]),
    )
    (strip,) = strips_of(case)
    assert {trace.name for trace in strip.traces} == {"left radial", "left radial (rack)"}
    assert len({(trace.colour, trace.pattern) for trace in strip.traces}) == 2


def test_a_recording_that_goes_on_where_another_ends_looks_the_same(tmp_path: Path) -> None:
    early, late = _wave("Art Rad L"), _wave("Art Rad L")
    moved = replace(late, segments=tuple(replace(s, start_s=float(SECONDS)) for s in late.segments))
    case = case_of(tmp_path / "case", recording("first", [early]), recording("second", [moved]))
    (strip,) = strips_of(case)
    assert len({(trace.colour, trace.pattern) for trace in strip.traces}) == 1
    assert len({trace.name for trace in strip.traces}) == 2


def test_a_single_pressure_without_a_name_has_a_strip(tmp_path: Path) -> None:
    case = case_of(tmp_path / "case", recording("a", [_wave("P1")]))
    (strip,) = strips_of(case)
    assert (strip.title, strip.unit) == ("P1", "mmHg")
    low, high = strip.y_range
    assert low <= 75 < 85 <= high
    assert high - low < 30


def test_other_units_stand_in_another_strip(tmp_path: Path) -> None:
    case = case_of(
        tmp_path / "case", recording("a", [_wave("Art Rad L"), _wave("signal 1", 3, "V", scale=0.01)])
    )
    assert [strip.unit for strip in strips_of(case)] == ["mmHg", "V"]


def test_a_range_is_widened_by_what_lasts_and_not_by_a_flush(tmp_path: Path) -> None:
    t = np.arange(SECONDS * 50) / 50.0
    flushed = np.where((t > 100) & (t < 102), 300.0, 80.0)
    high = np.where(t > 300, 195.0, 80.0)
    made = [
        even(label, np.round(values * 10).astype(np.int16), [Segment(0.0, 0, len(t), 50.0, scale=0.1)])
        for label, values in (("Art Rad L", flushed), ("PAP", np.minimum(high, 90)))
    ]
    arterial, pulmonary = strips_of(case_of(tmp_path / "case", recording("a", made)))
    assert arterial.y_range == (0, 160)
    assert pulmonary.y_range[1] >= 90


def test_with_the_future_hidden_no_axis_knows_it(tmp_path: Path) -> None:
    t = np.arange(SECONDS * 50) / 50.0
    values = np.where(t > 300, 240.0, 80.0)
    wave = even(
        "Art Rad L", np.round(values * 10).astype(np.int16), [Segment(0.0, 0, len(t), 50.0, scale=0.1)]
    )
    other = even("P1", np.round(values * 10).astype(np.int16), [Segment(0.0, 0, len(t), 50.0, scale=0.1)])
    case = case_of(tmp_path / "case", recording("a", [wave, other]))
    whole, early = strips_of(case), strips_of(case.until(200.0))
    assert whole[0].y_range[1] >= 240
    assert early[0].y_range == (0, 160)
    # Not even as it goes on: an axis that grew would tell that something is coming.
    assert strips_of(case.until(400.0))[0].y_range == (0, 160)
    assert early[1].y_range[1] < 100


def test_a_channel_that_never_recorded_has_a_strip_with_a_range(tmp_path: Path) -> None:
    codes = np.zeros(1000, np.int16)
    empty = even("P1", codes, [Segment(0.0, 0, 1000, 50.0)], valid=np.zeros(1000, bool))
    (strip,) = strips_of(case_of(tmp_path / "case", recording("a", [empty])))
    assert strip.y_range[1] > strip.y_range[0]


# -- lanes and places -----------------------------------------------------------------------------------


def test_bars_that_overlap_stand_in_different_rows() -> None:
    bars = [Bar(0, 100, "bypass"), Bar(10, 50, "clamp"), Bar(20, 30, "arrest"), Bar(60, 70, "warming")]
    (lane,) = lanes_of(phases=bars)
    rows = {bar.label: int(row) for bar, row in zip(lane.bars, lane.row, strict=True)}
    assert rows == {"bypass": 0, "clamp": 1, "arrest": 2, "warming": 1}


def test_a_kind_without_bars_has_no_lane() -> None:
    assert [lane.kind for lane in lanes_of(finds=[Bar(0, 1, "A2")], marks=[])] == ["find"]


def test_the_shortest_bar_is_picked() -> None:
    (lane,) = lanes_of(
        finds=[
            Bar(0, 100, "E05"),
            Bar(40, 41, "A2"),
            Bar(40, 60, "E09"),
            Bar(40, 55, "E01"),
            Bar(41, 42, "A1"),
        ]
    )
    found = lane.at(41.2, 41.4, 2)
    assert found is not None
    assert found.label == "A1"
    assert lane.at(200, 201, 0) is None


def test_a_page_shows_the_bars_of_its_window_only() -> None:
    (lane,) = lanes_of(finds=[Bar(0, 10, "A1"), Bar(5, 8, "A2"), Bar(50, 60, "E01")])
    cut = within(lane, Span(40, 70))
    assert cut is not None
    assert ([bar.label for bar in cut.bars], cut.rows) == (["E01"], 1)
    assert within(lane, Span(100, 200)) is None


@pytest.mark.parametrize(("width", "height"), [(1600, 1000), (900, 320), (500, 90), (1, 1)])
def test_places_never_overlap_and_stay_inside(theatre: Case, width: int, height: int) -> None:
    strips = strips_of(theatre)
    lanes = lanes_of(finds=[Bar(0, 1, "A1")]) if height > 100 else ()
    places = places_of(width, height, strips, lanes, PAPER)
    tops = [(top, top + row) for top, row in places.lanes] + [
        (top, top + size) for top, size in places.strips
    ]
    for (_, end), (start, _) in pairwise(tops):
        assert end <= start
    if height >= 90:
        assert tops[-1][1] <= places.axis[0] + 1
        assert 0 < places.left < places.right < width


def test_arterial_pressure_has_the_most_room(theatre: Case) -> None:
    places = places_of(1600, 1000, strips_of(theatre), (), PAPER)
    heights = [height for _, height in places.strips]
    assert heights[0] == max(heights) > 1.5 * min(heights)
