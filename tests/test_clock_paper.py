"""Clocks on the case paper: what speaks for each, its traces before and after, and where the evidence peaks."""

from __future__ import annotations

import shutil
import subprocess
import unicodedata
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from afterclamp.annotate.align import accept, estimate
from afterclamp.io import Case, open_case
from afterclamp.io.recording import Note, Segment
from afterclamp.io.terms import Identity
from afterclamp.replay.paper import write_paper
from afterclamp.replay.paper.clock_section import PEAK_S, clock_section
from afterclamp.replay.paper.content import Moment, Picture
from afterclamp.replay.paper.pictures import Painter
from PySide6.QtCore import QRectF
from PySide6.QtGui import QImage, QPainter
from recordings import START, case_of, even, recording

DAY = date(2026, 1, 2)
LONG_S, FALL_S, AHEAD_S = 3600, 1800, 300.0
EVIDENCE = {
    "kind": "same pressure",
    "compared": ["pump/line", "monitor/fem"],
    "words": ["pump is 300.0 s ahead ± 1.0 s.", "<Seen> in 12 windows."],
    "steps": [],
    "not_used": ["clamp off"],
}


@pytest.fixture
def case(tmp_path: Path) -> Case:
    """An hour of a pressure recorded twice, which falls from 80 to 20 after half of it; the pump is 5 min ahead."""
    fall = np.where(np.arange(LONG_S) < FALL_S, 80.0, 20.0).astype(np.float32)
    site = Identity("arterial_pressure", "femoral", "", "mean")
    made = case_of(
        tmp_path / "case",
        recording("monitor", [even("FEM", fall, [Segment(0.0, 0, LONG_S, 1.0)])]),
        recording(
            "pump",
            [even("line", fall, [Segment(0.0, 0, LONG_S, 1.0)])],
            first_stamp=START + timedelta(seconds=AHEAD_S),
            notes=[Note(FALL_S, FALL_S, "flow down")],
        ),
        identities={"fem": site, "line": site},
    )
    made.edit("mara", "reference", {"source": "monitor"})
    return made


def set_clock(case: Case, **more: Any) -> None:
    piece = {"offset_s": AHEAD_S, "sd_s": 0.5}
    case.edit("mara", "clock", {"source": "pump", "pieces": [piece], "method": "by hand", **more})


def moments(case: Case) -> dict[str, Moment]:
    return {moment.heading: moment for part in clock_section(case) for moment in part.moments}


def picture_of(case: Case, source: str = "pump") -> Picture:
    picture = moments(case)[source].picture
    assert picture is not None
    return picture


def test_a_case_in_which_nobody_set_a_clock_has_no_such_part(case: Case) -> None:
    assert clock_section(case) == ()


def test_a_clock_set_by_hand_says_by_whom_and_how_surely_and_that_no_evidence_was_kept(case: Case) -> None:
    set_clock(case)
    moment = moments(case)["pump"]
    assert moment.when == "5 min 0 s ahead ± 1.0 s"  # 1.96 times half a second
    assert moment.state == "set by hand; by mara"
    assert moment.facts == (("Evidence", "none was kept; whoever set it says that it is right within 1.0 s"),)


def test_what_the_log_keeps_of_the_evidence_is_told_in_its_words(case: Case) -> None:
    set_clock(case, method="by evidence", evidence=EVIDENCE)
    moment = moments(case)["pump"]
    facts = dict(moment.facts)
    assert moment.state == "by evidence, same pressure; by mara"
    assert facts["Evidence"] == "pump is 300.0 s ahead ± 1.0 s. <Seen> in 12 windows."
    assert facts["Lines that fit nothing, left out"] == "“clamp off”"
    picture = picture_of(case)
    assert picture.channels == ("pump/line", "monitor/fem")
    assert picture.span.start < FALL_S < picture.span.end
    assert picture.span.duration == 1800.0  # half an hour


@pytest.mark.parametrize("evidence", [{}, {"words": 3, "compared": ["gone/x", None], "kind": 1}])
def test_evidence_that_another_program_wrote_differently_does_not_stop_the_paper(
    case: Case, evidence: dict[str, Any]
) -> None:
    set_clock(case, method="by evidence", evidence=evidence)
    facts = dict(moments(case)["pump"].facts)
    assert facts["Evidence"] == "its words were not kept"
    assert picture_of(case).channels == ("pump/line", "monitor/fem")  # the same line of the same unit


def places(image: QImage, top: int, bottom: int) -> tuple[float, float]:
    """Where between two rows of a grey picture the pale and the dark trace fall: columns of their middles."""
    grey = image.convertToFormat(QImage.Format.Format_Grayscale8)
    data = np.frombuffer(grey.constBits(), np.uint8).reshape(grey.height(), grey.bytesPerLine())
    rows = data[top:bottom, : grey.width()]
    pale = np.flatnonzero(((rows > 160) & (rows < 195)).mean(axis=0) > 0.9)
    dark = np.flatnonzero((rows < 120).mean(axis=0) > 0.9)
    return float(pale.mean()) if len(pale) else np.nan, float(dark.mean())


def test_before_the_traces_lie_apart_by_the_offset_and_after_on_each_other_also_in_grey(
    case: Case, qapp: Any
) -> None:
    set_clock(case)
    picture = picture_of(case)
    image = QImage(1400, 470, QImage.Format.Format_RGB32)
    image.fill(0xFFFFFFFF)
    painter = QPainter(image)
    Painter(case).paint(painter, QRectF(0, 0, 1400, 470), picture, vector=False)
    painter.end()
    # The middle rows of the upper and of the lower box, away from the ends of the fall.
    pale, dark = places(image, 90, 140)
    seconds = (dark - pale) * picture.span.duration / (1400 - 54 - 54)
    assert seconds == pytest.approx(AHEAD_S, abs=6.0)
    _, after = places(image, 325, 375)
    assert after == pytest.approx(pale, abs=2.0)


def test_in_a_view_up_to_a_time_nothing_is_told_of_what_was_recorded_later(case: Case) -> None:
    set_clock(case, method="by evidence", evidence=EVIDENCE)
    moment = moments(case.until(1200.0))["pump"]
    assert moment.picture is None
    assert "windows" not in repr(moment)
    assert moment.when.startswith("5 min 0 s ahead")  # the clock itself is the stated exception


def test_the_evidence_stands_on_the_page_and_in_the_pdf(case: Case, tmp_path: Path, qapp: Any) -> None:
    set_clock(case, method="by evidence", evidence=EVIDENCE)
    write_paper(case, tmp_path / "paper.html", day=DAY)
    page = (tmp_path / "paper.html").read_text("utf-8")
    block = page.partition('<article id="clock-pump">')[2].partition("</article>")[0]
    assert "&lt;Seen&gt; in 12 windows." in block
    assert block.count("data:image/png;base64,") == 1
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    write_paper(case, tmp_path / "paper.pdf", day=DAY)
    read = subprocess.run(["pdftotext", str(tmp_path / "paper.pdf"), "-"], capture_output=True, check=True)
    words = " ".join(unicodedata.normalize("NFKC", read.stdout.decode()).split())
    assert "Appendix: how the clocks were set" in words
    assert "<Seen> in 12 windows." in words
    for said in ("before: as its stamps say", "after: as its clock was set", "femoral mean of pump, mmHg"):
        assert said in words


@pytest.fixture(scope="module")
def by_evidence(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo with the clocks of the pump and of the log set by evidence, the others by hand."""
    folder = tmp_path_factory.mktemp("evidence") / "case"
    shutil.copytree(demo_folder, folder)
    with open_case(folder) as case:
        for found in estimate(case, sources=["pump", "log"]):
            accept(case, "mara", found)
    return folder


def test_peak_and_residuals_are_shown_where_the_evidence_gives_them_again(by_evidence: Path) -> None:
    with open_case(by_evidence) as case:
        made = moments(case)
        assert set(made) == {"pump", "log", "oximeter", "captions"}
        pump, log = (made[name].picture for name in ("pump", "log"))
        assert pump is not None
        assert log is not None
        assert pump.clock is not None
        assert log.clock is not None
        # The demo's pump recorder is planted 94 s ahead, and set back by 30 s; its wave is the monitor's own.
        lags = np.array([lag for lag, _ in pump.clock.curve])
        assert lags.min() < 64 < 94 < lags.max()
        assert np.ptp(lags) <= 2 * PEAK_S
        assert max(abs(off) for _, off, _, used in pump.clock.points if used) < 0.5
        # The log's "clamp off" and "protamine" are planted as wrong lines.
        assert sum(not used for *_, used in log.clock.points) >= 1
        assert "“protamine” would be" in dict(made["log"].facts)["Evidence"]
        assert log.clock.own == ""
        for name in ("oximeter", "captions"):
            by_hand = made[name].picture
            assert by_hand is not None
            assert by_hand.clock is not None
            assert by_hand.clock.curve == by_hand.clock.points == ()


def test_lines_of_text_stand_on_the_flow_with_their_words(by_evidence: Path, qapp: Any) -> None:
    with open_case(by_evidence) as case:
        picture = picture_of(case, "log")
        assert picture.channels == (case["pump_flow"].id,)
        painter = Painter(case)
        assert painter.png(picture) != painter.png(picture_of(case, "captions"))
