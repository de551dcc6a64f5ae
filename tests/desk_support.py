"""Test support: a desk with settings of its own, on the small made-up case, that does not look for finds by itself."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import small_case
from afterclamp.annotate.finds import Finds
from afterclamp.annotate.masking import MaskedSpan
from afterclamp.annotate.rules import Find
from afterclamp.replay.desk import Desk
from afterclamp.replay.panes.mark_box import WordsBox
from afterclamp.replay.panes.sheets import CautionsBox
from afterclamp.replay.session import Session
from PySide6.QtCore import QSettings, Qt
from pytestqt.qtbot import QtBot

FLUSH = Find("A2", "fast flush", 200.0, 203.0, ("femoral",), "", 0.9, {"rule": "a rule", "before": 80.0})
LOW = Find(
    "E13",
    "low pressure on bypass",
    500.0,
    590.0,
    ("femoral", "pump_flow"),
    "femoral",
    0.71,
    {
        "rule": "Mean under 50 mmHg for at least 60 s.",
        "crossings": [500.0, 590.0],
        "limit": 50.0,
        "unit": "mm[Hg]",
        "alternatives": [{"what": "a kinked line", "why_not": "the ripple stayed"}],
    },
)
FINDS = Finds(
    (FLUSH, LOW), ("E09 not looked for: no central venous pressure",), (), "femoral", "It has a wave."
)


def flush_span() -> MaskedSpan:
    """What is masked for `FLUSH`: with a second of ring, as the rule says."""
    return MaskedSpan(200.0, 204.0, "A2", "fast flush", artefact_s=(200.0, 203.0))


def own_settings(folder: Path) -> QSettings:
    """Settings that are nobody's own."""
    return QSettings(str(folder / "desk.ini"), QSettings.Format.IniFormat)


def accept_cautions(settings: QSettings) -> None:
    """As if the cautions had been read before."""
    box = CautionsBox(settings, must_accept=True)
    box.read.setChecked(True)
    box.accept()


def shown(qtbot: QtBot, settings: QSettings) -> Desk:
    """A desk on the screen."""
    desk = Desk(settings)
    qtbot.addWidget(desk)
    desk.resize(1280, 800)
    with qtbot.waitExposed(desk):
        desk.show()
    return desk


def leave_words(qtbot: QtBot, desk: Desk) -> None:
    """Keep the mark that was just made without words."""
    assert isinstance(desk.box, WordsBox)
    qtbot.keyClick(desk.box, Qt.Key.Key_Escape)
    assert desk.box is None


@pytest.fixture(scope="session")
def small_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small case, to be copied."""
    return small_case.make(tmp_path_factory.mktemp("desk") / "small")


@pytest.fixture
def settings(tmp_path: Path) -> QSettings:
    """Settings with the cautions read."""
    own = own_settings(tmp_path)
    accept_cautions(own)
    return own


@pytest.fixture
def empty_desk(qtbot: QtBot, settings: QSettings) -> Iterator[Desk]:
    """A desk without a case."""
    desk = shown(qtbot, settings)
    yield desk
    desk.close()


@pytest.fixture
def desk(
    qtbot: QtBot, settings: QSettings, small_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Desk]:
    """A desk with a copy of the small case and two finds."""
    monkeypatch.setattr(Session, "look", lambda _: None)
    folder = tmp_path / "small"
    shutil.copytree(small_folder, folder)
    made = shown(qtbot, settings)
    assert made.does.open_case(folder)
    made.session.take("masks", {"monitor/fem": [flush_span()]})
    made.session.take("finds", FINDS)
    yield made
    made.close()
