"""Five hundred finds on a lane: every begin is told by its class or by a count, at every width of the window."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.io.case import Span
from afterclamp.replay.strips.axis import TimeText
from afterclamp.replay.strips.clusters import cluster_words, clusters_of
from afterclamp.replay.strips.envelope import Grain, TimeScale
from afterclamp.replay.strips.hover import MOST_LISTED, bars_tip
from afterclamp.replay.strips.lane_paint import paint_lane
from afterclamp.replay.strips.lanes import Bar, Lane, lanes_of
from afterclamp.replay.strips.theme import PAPER
from PySide6.QtGui import QColor, QImage, QPainter
from pytestqt.qtbot import QtBot

HOURS = 6 * 3600.0
WIDE = 900


def crowded() -> list[Bar]:
    """Five hundred bars over six hours, of seconds to three quarters of an hour."""
    made = np.random.default_rng(5)
    starts = np.sort(made.uniform(0, HOURS - 60, 500))
    lengths = made.choice([2.0, 20.0, 90.0, 300.0, 900.0, 2700.0], 500)
    codes = made.integers(1, 32, 500)
    return [
        Bar(float(start), float(start + length), f"E{code:02d}")
        for start, length, code in zip(starts, lengths, codes, strict=True)
    ]


def anchors_of(lane: Lane, window: Span) -> tuple[np.ndarray, np.ndarray]:
    visible = (lane.start <= window.end) & (lane.end >= window.start)
    places = (lane.start[visible] - window.start) / window.duration * WIDE
    return np.maximum(places, 0.0), lane.row[visible]


@pytest.mark.parametrize("most_rows", [1, 4])
@pytest.mark.parametrize(
    "window", [Span(0.0, HOURS), Span(9000.0, 10800.0), Span(9000.0, 9030.0)], ids=["Long", "Middle", "Close"]
)
def test_every_find_is_alone_or_in_one_cluster_and_no_two_labels_touch(window: Span, most_rows: int) -> None:
    (lane,) = lanes_of(finds=crowded(), most_rows=most_rows)
    anchors, rows = anchors_of(lane, window)
    found = clusters_of(anchors, rows, 26.0)
    members = [number for cluster in found for number in cluster.members]
    assert len(members) == len(set(members))
    alone = set(range(len(anchors))) - set(members)
    for row in np.unique(rows).tolist():
        places = [cluster.at for cluster in found if cluster.row == row]
        places += [float(anchors[number]) for number in alone if rows[number] == row]
        assert (np.diff(np.sort(places)) >= 26.0).all()


def test_bars_further_apart_than_a_label_stand_alone() -> None:
    assert clusters_of(np.array([0.0, 26.0, 52.0]), np.zeros(3, np.int64), 26.0) == []


def test_rows_are_clustered_each_by_itself() -> None:
    assert clusters_of(np.array([0.0, 5.0]), np.array([0, 1]), 26.0) == []


def test_a_cluster_is_told_by_its_classes_or_by_its_number() -> None:
    assert cluster_words(["E30", "E19", "E30", "A2"]) == ("2 E30, A2, E19", "×4")


def test_the_tip_lists_what_lies_there_in_order_of_time() -> None:
    bars = [Bar(40.0, 41.0, "A2", "A2 fast flush"), Bar(10.0, 90.0, "E13", "E13 hypotension")]
    lines = bars_tip(bars, TimeText()).splitlines()
    assert lines[0] == "2 here; a click goes to the shortest, A2"
    assert lines[1].startswith("E13 hypotension")
    assert lines[2].startswith("A2 fast flush")
    many = bars_tip([Bar(float(n), 99.0, "E01") for n in range(20)], TimeText())
    assert f"and {20 - MOST_LISTED} longer ones" in many


def painted(bars: list[Bar], window: Span) -> np.ndarray:
    (lane,) = lanes_of(finds=bars, most_rows=1)
    image = QImage(WIDE, 14, QImage.Format.Format_RGB32)
    image.fill(QColor(PAPER.ground))
    painter = QPainter(image)
    paint_lane(painter, lane, 0.0, 0.0, 14.0, TimeScale.of(window.start, window.end, WIDE), Grain(), PAPER)
    painter.end()
    found = np.frombuffer(image.constBits(), np.uint32).reshape(14, image.bytesPerLine() // 4)
    return found[:, :WIDE] & 0xFFFFFF


@pytest.mark.usefixtures("qapp")
def test_a_crowd_is_painted_as_a_row_of_framed_counts() -> None:
    window = Span(0.0, HOURS)
    (lane,) = lanes_of(finds=crowded(), most_rows=1)
    found = clusters_of(*anchors_of(lane, window), 26.0)
    frame = QColor(PAPER.soft_ink).rgb() & 0xFFFFFF
    tops = painted(crowded(), window)[1] == frame
    framed = sum(bool(tops[int(cluster.at) + 2 : int(cluster.at) + 12].all()) for cluster in found)
    assert framed == len(found) > 20


def test_one_find_alone_has_no_frame(qtbot: QtBot) -> None:
    frame = QColor(PAPER.soft_ink).rgb() & 0xFFFFFF
    tops = painted([Bar(3600.0, 7200.0, "E13")], Span(0.0, HOURS))[1] == frame
    assert tops.sum() <= 2  # its edge
