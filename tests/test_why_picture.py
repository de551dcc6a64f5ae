"""The Why card: what its picture shows, painted from the case alone, and the words beside it."""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import small_case
from afterclamp.annotate.five_questions import QUESTIONS, Answer
from afterclamp.annotate.rules import Find, Link
from afterclamp.annotate.rules.rule import confidence
from afterclamp.io import open_case
from afterclamp.io.case import Case
from afterclamp.replay.answered import Answered
from afterclamp.replay.panes.clock_face import ClockFace
from afterclamp.replay.panes.why_card import Beside, WhyCard, plain_words
from afterclamp.replay.panes.why_picture import (
    AROUND_S,
    CLOSE_S,
    caption,
    picture_strips,
    picture_window,
    why_picture,
)
from afterclamp.replay.strips.theme import PAPER
from desk_support import FLUSH, LOW
from PySide6.QtGui import QColor, QImage
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

LONG = replace(LOW, start_s=400.0, end_s=600.0, evidence={**LOW.evidence, "crossings": [400.0, 600.0]})


@pytest.fixture(scope="module")
def case(qapp: QApplication, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    with open_case(small_case.make(tmp_path_factory.mktemp("why") / "small")) as made:
        yield made


def pixels(image: QImage) -> np.ndarray:
    """Colours as 0xRRGGBB, by row and column."""
    rgb = image.convertToFormat(QImage.Format.Format_RGB32)
    found = np.frombuffer(rgb.constBits(), np.uint32).reshape(rgb.height(), rgb.bytesPerLine() // 4)
    return found[:, : rgb.width()] & 0xFFFFFF


def colour(name: str) -> int:
    return QColor(name).rgb() & 0xFFFFFF


def test_it_shows_one_minute_around_a_short_find_and_two_around_a_long_one(case: Case) -> None:
    short = picture_window(FLUSH, case)
    assert (short.start, short.end) == (FLUSH.start_s - CLOSE_S, FLUSH.end_s + CLOSE_S)
    long = picture_window(LONG, case)
    assert (long.start, long.end) == (LONG.start_s - AROUND_S, LONG.end_s + AROUND_S)
    assert picture_window(replace(FLUSH, start_s=5.0, end_s=7.0), case).start == case.span.start


def test_it_shows_only_the_lines_that_the_find_is_about(case: Case) -> None:
    names = [trace.channel.name for strip in picture_strips(case, LONG) for trace in strip.traces]
    assert names == ["femoral", "pump_flow"]
    alone = [trace.channel.name for strip in picture_strips(case, FLUSH) for trace in strip.traces]
    assert alone == ["femoral"]


def test_the_limit_stands_on_its_own_line_only(case: Case) -> None:
    def limits(on: str) -> list[list[float]]:
        return [[line.value for line in strip.limits] for strip in picture_strips(case, LONG, on)]

    assert limits("femoral") == [[50.0], []]
    assert limits("") == [[], []]


def test_the_limit_is_always_within_what_is_shown(case: Case) -> None:
    far = replace(LONG, evidence={**LONG.evidence, "limit": 150.0})
    (strip, _) = picture_strips(case, far, "femoral")
    assert strip.y_range[0] < 150.0 < strip.y_range[1]


def test_the_find_is_tinted_and_its_crossings_are_dashed(case: Case) -> None:
    def dark(find: Find) -> np.ndarray:
        image = why_picture(case, find, 480, picture_strips(case, find))
        assert image is not None
        return np.count_nonzero(pixels(image)[:70, 160:470] == colour(PAPER.ink), axis=0)

    # Crossings away from the find's own ends, which are drawn as edges of the tint.
    inside = replace(LONG, evidence={"crossings": [500.0]})
    added = dark(inside) - dark(replace(LONG, evidence={}))
    columns = np.flatnonzero(added > 20)
    assert len(columns) in (1, 2)
    window = picture_window(LONG, case)
    share = (500.0 - window.start) / window.duration
    assert abs(columns.mean() / len(added) - share) < 0.1


def test_masked_seconds_are_drawn_otherwise(case: Case) -> None:
    strips = picture_strips(case, LONG)
    plain = why_picture(case, LONG, 480, strips)
    channel = strips[0].traces[0].channel.id
    hatched = why_picture(case, LONG, 480, strips, masked={channel: [(450.0, 550.0)]})
    assert plain is not None
    assert hatched is not None
    assert np.count_nonzero(pixels(plain) != pixels(hatched)) > 100


def test_without_a_recorded_line_there_is_no_picture(case: Case) -> None:
    nowhere = replace(LOW, channels=("cvp",), site="")
    assert picture_strips(case, nowhere) == []
    assert why_picture(case, nowhere, 480, []) is None


def test_the_caption_says_what_is_to_be_seen(case: Case) -> None:
    words = caption(LONG, picture_strips(case, LONG, "femoral"), "femoral")
    assert "femoral" in words
    assert "the line is the limit, 50" in words
    assert "hatched: masked" in words


# -- the card ---------------------------------------------------------------------------------------


def card(qtbot: QtBot) -> WhyCard:
    made = WhyCard(ClockFace())
    qtbot.addWidget(made)
    made.resize(500, 400)
    return made


def test_the_card_answers_the_five_questions(qtbot: QtBot, case: Case) -> None:
    said = tuple(Answer("no", f"because of {number}") for number in range(5))
    made = card(qtbot)
    made.show_find(LOW, "proposed", {}, beside=Beside(None, Answered(said)))
    text = made.toPlainText()
    for number, question in enumerate(QUESTIONS):
        assert f"{question} no: because of {number}" in text
    made.show_find(LOW, "proposed", {}, beside=Beside(case, Answered(said)))
    assert "nothing was written, said or marked" in made.toPlainText(), "marks are asked for anew"


def test_the_card_writes_times_with_their_uncertainty(qtbot: QtBot) -> None:
    made = card(qtbot)
    made.show_find(replace(LOW, unc_s=4.2), "proposed", {})
    assert "± 4.2 s each" in made.toPlainText()


def test_a_link_that_clocks_cannot_order_says_so(qtbot: QtBot) -> None:
    made = card(qtbot)
    linked = replace(LOW, linked=(Link("preceded by", "high line pressure", "E07", "k", 3.0, ordered=False),))
    made.show_find(linked, "proposed", {})
    assert "preceded by E07 high line pressure" in made.toPlainText()
    assert "cannot order" in made.toPlainText()


def test_how_plain_a_find_is_is_told_with_what_it_is_made_of() -> None:
    words = plain_words(replace(LOW, confidence=confidence(margin=0.4, duration=1.5, seen=0.9)))
    assert "beyond its limit by 0.40" in words.lower()
    assert "1.5 times the shortest length that counts" in words
    assert "90 % of its seconds seen" in words
    assert "no probability" in words
    assert plain_words(replace(LOW, confidence=0.7)) == "0.70 of 1, no probability"


def test_what_it_is_made_of_comes_through_the_other_process() -> None:
    find = replace(LOW, confidence=confidence(margin=0.4, duration=1.5))
    again = pickle.loads(pickle.dumps(find))
    assert again == find
    assert plain_words(again) == plain_words(find)


def test_the_card_holds_the_picture_and_paints_it_again_when_it_is_wider(
    qtbot: QtBot, case: Case, tmp_path: Path
) -> None:
    made = card(qtbot)
    with qtbot.waitExposed(made):
        made.show()
    made.show_find(LONG, "proposed", {}, beside=Beside(case))
    narrow = made._painted_for
    assert "<img" in made.toHtml()
    made.resize(900, 400)
    assert made._painted_for > narrow + 300
