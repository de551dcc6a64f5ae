"""The reading card says what a channel said at the playhead, and that it said nothing where nothing was recorded."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from afterclamp.annotate.masking import MaskedSpan, There
from afterclamp.io.case import Case, Samples
from afterclamp.replay.panes.reading_card import ReadingCard, in_order, read_at
from afterclamp.replay.session import Session
from desk_support import flush_span, settings, shown  # noqa: F401
from PySide6.QtCore import QSettings
from pytestqt.qtbot import QtBot

# ruff: noqa: F811


@dataclass
class Rows:
    """A channel, as far as the card looks at it."""

    t: np.ndarray
    values: np.ndarray
    interval_s: float = 1.0
    is_wave: bool = False
    plain_name: str = "pump flow"
    kind: str = "pump_flow"
    unit: str = "L/min"
    unit_as_written: str = "L/min"
    source: str = "pump"
    label: str = "flow"
    id: str = "pump/flow"
    name: str = "pump_flow"

    def read(self, t0: float, t1: float) -> Samples:
        inside = (self.t >= t0) & (self.t < t1)
        return Samples(self.t[inside], self.values[inside], self.interval_s)


def gap(there: There = "nothing") -> dict[str, list[MaskedSpan]]:
    return {"pump/flow": [MaskedSpan(100.0, 200.0, "A9", "a reason", there)]}


class OneCase:
    def __init__(self, *channels: Rows) -> None:
        self.channels = channels


@pytest.fixture
def card(qtbot: QtBot) -> ReadingCard:
    made = ReadingCard()
    qtbot.addWidget(made)
    return made


def at(qtbot: QtBot, card: ReadingCard, t: float) -> str:
    card.show_at(t)
    qtbot.waitUntil(lambda: not card._waiting, timeout=2000)
    return card.text("pump flow")


def test_in_a_gap_no_old_number_is_shown(qtbot: QtBot, card: ReadingCard) -> None:
    t = np.concatenate([np.arange(0.0, 100.0), np.arange(200.0, 300.0)])
    card.set_case(OneCase(Rows(t, np.full(len(t), -0.01))))  # type: ignore[arg-type]
    # The measures hold a value for three intervals, then it is missing; so does the card.
    assert at(qtbot, card, 101.9).startswith("pump flow  -0.01") or "-0" in card.text("pump flow")
    assert at(qtbot, card, 134.0).startswith("pump flow  not recorded  L/min")
    assert "not recorded" in at(qtbot, card, 199.0)
    assert "not recorded" not in at(qtbot, card, 200.0)


def test_within_a_gap_nothing_was_recorded_even_where_a_number_is_near(
    qtbot: QtBot, card: ReadingCard
) -> None:
    card.set_case(OneCase(Rows(np.arange(300.0), np.full(300, 4.4))))  # type: ignore[arg-type]
    card.set_masked(gap())
    assert "not recorded" in at(qtbot, card, 100.5)
    assert "4.4" in at(qtbot, card, 200.5)
    card.set_masked({})
    assert "4.4" in at(qtbot, card, 150.5)


@pytest.mark.parametrize(("what", "there"), [("frozen", "values"), ("off scale", "off scale")])
def test_a_channel_that_stood_still_is_said_to(
    qtbot: QtBot, card: ReadingCard, what: str, there: There
) -> None:
    card.set_case(OneCase(Rows(np.arange(300.0), np.full(300, 4.4))))  # type: ignore[arg-type]
    card.set_masked(gap(there))
    assert at(qtbot, card, 150.5).startswith(f"pump flow  {what}")


def test_a_wave_that_stopped_is_not_recorded() -> None:
    t = np.arange(0.0, 10.0, 0.01)
    wave = Rows(t, np.full(len(t), 80.0), 0.01, is_wave=True)
    assert read_at(wave, 9.99).absent == ""
    assert read_at(wave, 13.0).absent == "not recorded"
    assert math.isnan(read_at(wave, 13.0).value)


def test_the_tip_tells_the_last_value_and_its_age(qtbot: QtBot, card: ReadingCard) -> None:
    from PySide6.QtCore import Qt

    card.set_case(OneCase(Rows(np.arange(100.0), np.full(100, 4.4))))  # type: ignore[arg-type]
    at(qtbot, card, 134.0)
    tip = card._model.data(card._model.index(0, 1), Qt.ItemDataRole.ToolTipRole)
    assert "the last value, 35 s before, was 4.40" in tip


def test_names_are_not_cut_while_the_column_of_sources_can_give_room(qtbot: QtBot, card: ReadingCard) -> None:
    rows = Rows(np.arange(9.0), np.full(9, 36.0), plain_name="nasopharyngeal temperature")
    card.set_case(OneCase(rows))  # type: ignore[arg-type]
    for width, hidden in ((1000, True), (480, False)):
        card.resize(width, 300)
        with qtbot.waitExposed(card):
            card.show()
        assert card.table.isColumnHidden(4) is not hidden
        needed = card.fontMetrics().horizontalAdvance("nasopharyngeal temperature")
        assert card.table.columnWidth(0) >= needed


def test_no_number_of_the_demo_is_cut_on_a_small_screen(
    qtbot: QtBot, settings: QSettings, demo_case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Session, "look", lambda _: None)
    desk = shown(qtbot, settings)
    assert (desk.width(), desk.height()) == (1280, 800)
    assert desk.does.open_case(demo_case.folder)
    table = desk.card.table
    for minute in range(5, 290, 24):
        desk.card._timer.stop()
        desk.card.show_at(60.0 * minute)
        for row in range(table.model().rowCount()):
            for column in (1, 3):
                index = table.model().index(row, column)
                assert table.sizeHintForIndex(index).width() <= table.columnWidth(column), index.data()
    desk.close()


def test_the_range_of_a_wave_is_never_written_with_the_sign_of_words_cut_short(
    qtbot: QtBot, card: ReadingCard
) -> None:
    t = np.arange(0.0, 10.0, 0.01)
    wave = Rows(t, np.where(t % 1 < 0.5, 57.0, 161.0), 0.01, True, kind="arterial_pressure", unit="mm[Hg]")
    card.set_case(OneCase(wave))  # type: ignore[arg-type]
    text = at(qtbot, card, 9.99)
    assert "(57–161)" in text
    assert "…" not in text


# -- what stands on it ------------------------------------------------------------------------------


def test_a_value_is_the_last_one_at_or_before_now_and_never_a_later_one() -> None:
    rows = Rows(np.arange(0.0, 50.0, 5.0), np.arange(10.0), 5.0)
    assert read_at(rows, 20.0).value == 4.0
    assert read_at(rows, 24.9).value == 4.0
    assert read_at(rows, 24.9).age_s == pytest.approx(4.9)


def test_a_value_is_stale_after_three_intervals() -> None:
    rows = Rows(np.array([0.0]), np.array([4.4]), 5.0)
    assert not read_at(rows, 15.0).stale
    assert read_at(rows, 15.1).stale
    assert read_at(rows, 15.1).absent == "not recorded"
    assert read_at(rows, 15.1).value == 4.4, "told in the tip"


def test_a_value_that_was_not_recorded_is_passed_over() -> None:
    rows = Rows(np.array([0.0, 5.0, 10.0]), np.array([4.0, 4.4, math.nan]), 5.0)
    reading = read_at(rows, 11.0)
    assert reading.value == 4.4
    assert reading.age_s == 6.0


def test_a_wave_is_read_as_mean_with_lowest_and_highest() -> None:
    t = np.arange(0.0, 10.0, 0.01)
    wave = Rows(t, 90 + 30 * np.sin(2 * np.pi * t), 0.01, is_wave=True)
    reading = read_at(wave, 8.0)
    assert reading.value == pytest.approx(90.0, abs=0.2)
    assert (reading.low, reading.high) == (pytest.approx(60.0, abs=0.1), pytest.approx(120.0, abs=0.1))


def test_before_the_first_value_there_is_none() -> None:
    reading = read_at(Rows(np.array([100.0]), np.array([4.4]), 1.0), 50.0)
    assert math.isnan(reading.value)
    assert reading.stale


def test_the_card_writes_value_unit_age_and_source(qtbot: QtBot) -> None:
    class OneCase:
        channels = (Rows(np.array([0.0]), np.array([4.4]), 1.0),)

    card = ReadingCard()
    qtbot.addWidget(card)
    card.set_case(OneCase())  # type: ignore[arg-type]
    card.show_at(2.2)
    qtbot.waitUntil(lambda: card.text("pump flow") == "pump flow  4.40  L/min  2 s  pump", timeout=2000)


def test_a_value_that_an_artefact_covers_says_so(qtbot: QtBot) -> None:
    class OneCase:
        channels = (Rows(np.arange(300.0), np.full(300, 250.0), 1.0, plain_name="femoral", name="femoral"),)

    card = ReadingCard()
    qtbot.addWidget(card)
    card.set_case(OneCase())  # type: ignore[arg-type]
    card.set_masked({"pump/flow": [flush_span()]})  # the flush lasts from 200 s to 203 s, its ring to 204 s
    for t, words in ((150.0, "femoral  "), (201.0, "femoral, A2  "), (204.5, "femoral  ")):
        card.show_at(t)
        qtbot.waitUntil(lambda words=words: card.text("femoral").startswith(words), timeout=2000)  # type: ignore[misc]


def test_an_unknown_unit_is_shown_as_a_question(qtbot: QtBot) -> None:
    class OneCase:
        channels = (Rows(np.array([0.0]), np.array([4.4]), 1.0, unit="", unit_as_written=""),)

    card = ReadingCard()
    qtbot.addWidget(card)
    card.set_case(OneCase())  # type: ignore[arg-type]
    assert "unit?" in card.text("pump flow")


def test_pressures_come_first_on_the_card() -> None:
    empty = np.array([])
    listed = in_order([Rows(empty, empty, 1.0), Rows(empty, empty, 1.0, kind="arterial_pressure")])
    assert [channel.kind for channel in listed] == ["arterial_pressure", "pump_flow"]
