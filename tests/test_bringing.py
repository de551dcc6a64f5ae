"""Bringing in from the desk: another process does it, says how far it is, can be stopped, and leaves no crumbs."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from afterclamp.io import mappings, open_case
from afterclamp.replay import bringing, demo, longwork
from afterclamp.replay.bringing import without
from afterclamp.replay.desk import Desk
from afterclamp.replay.longwork import LongWork
from afterclamp.replay.panes.bring_in import WhereBox, beside, tables
from afterclamp.replay.panes.errand import Errand, HowFarBox, RefusedBox
from afterclamp.replay.panes.kept_out_box import KeptOutBox
from afterclamp.replay.panes.match_columns import MatchColumnsBox
from afterclamp.replay.panes.questions import QuestionsBox
from afterclamp.replay.session import Session
from desk_support import desk, empty_desk, settings, small_folder  # noqa: F401
from PySide6.QtCore import QMimeData, QPointF, Qt, QTimer, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtWidgets import QCheckBox, QMessageBox
from pytestqt.qtbot import QtBot

# ruff: noqa: F811


@pytest.fixture(autouse=True)
def _no_look(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Session, "look", lambda _: None)


@pytest.fixture
def at_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """Work is done by this process, a moment after it was asked for: for what the desk makes of the answers.

    The request and the answers are the very lines that another process reads and writes; that one does it, says
    how far it is and ends is held by the tests without this.
    """

    def start(work: LongWork) -> None:
        request = json.loads(json.dumps(work.request))
        said: list[str] = []

        def do() -> None:
            bringing.work(request, lambda message: said.append(json.dumps(message)), lambda: False)
            for line in said:
                work._heard(json.loads(line))
            work._finished()

        QTimer.singleShot(0, work, do)

    monkeypatch.setattr(LongWork, "start", start)


def exports(folder: Path, *, unit: str = "L/min", rows: int = 120) -> Path:
    """A pump's rows as a delimited file."""
    folder.mkdir()
    lines = [f"time,pump flow ({unit}),line pressure (mmHg)"]
    lines += [f"08:{i // 60:02d}:{i % 60:02d},{4.0 + i % 3 / 10:.1f},{180 + i % 5}" for i in range(rows)]
    (folder / "pump.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return folder


def drop(desk: Desk, *paths: Path) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    none, left = Qt.KeyboardModifier.NoModifier, Qt.MouseButton.LeftButton
    desk.dropEvent(QDropEvent(QPointF(50, 50), Qt.DropAction.CopyAction, data, left, none))


def accept_where(qtbot: QtBot, desk: Desk) -> Path:
    qtbot.waitUntil(lambda: isinstance(desk.box, WhereBox), timeout=2000)
    assert isinstance(desk.box, WhereBox)
    into = Path(desk.box.into.text())
    qtbot.keyClick(desk.box, Qt.Key.Key_Return)
    return into


def sentence(qtbot: QtBot, desk: Desk) -> str:
    qtbot.waitUntil(lambda: isinstance(desk.box, QMessageBox), timeout=20_000)
    assert isinstance(desk.box, QMessageBox)
    return desk.box.text()


def test_a_dropped_folder_becomes_a_case_beside_it(qtbot: QtBot, empty_desk: Desk, tmp_path: Path) -> None:
    source = exports(tmp_path / "run 7")
    drop(empty_desk, source)
    into = accept_where(qtbot, empty_desk)
    assert into == tmp_path / "run 7-case"
    qtbot.waitUntil(lambda: empty_desk.session.case is not None, timeout=20_000)
    assert empty_desk.session.case is not None
    assert empty_desk.session.case.folder == into
    flow = empty_desk.session.case["pump_flow"].read(0, 10).values
    np.testing.assert_allclose(flow, [4.0 + i % 3 / 10 for i in range(10)], atol=1e-6)
    assert [path.name for path in source.iterdir()] == ["pump.csv"], "the exports stay as they are"
    assert empty_desk.does.errand is None


def test_a_dropped_case_folder_is_opened(
    qtbot: QtBot, empty_desk: Desk, small_folder: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "small"
    shutil.copytree(small_folder, folder)
    drop(empty_desk, folder)
    qtbot.waitUntil(lambda: empty_desk.session.case is not None, timeout=5000)


def test_a_broken_file_is_said_whole_and_the_desk_stays(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path
) -> None:
    (tmp_path / "cut").mkdir()
    (tmp_path / "cut" / "monitor.edf").write_bytes(b"0       " + b" " * 60)
    drop(empty_desk, tmp_path / "cut")
    into = accept_where(qtbot, empty_desk)
    text = sentence(qtbot, empty_desk)
    assert "monitor.edf" in text
    assert text.endswith(".")
    assert empty_desk.isVisible()
    assert not into.exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["cut", "desk.ini"]


@pytest.mark.usefixtures("at_hand")
def test_a_folder_without_a_readable_file_is_said(qtbot: QtBot, empty_desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "letter.doc").write_bytes(b"\xd0\xcf\x11\xe0 words")
    drop(empty_desk, tmp_path / "letters")
    into = accept_where(qtbot, empty_desk)
    assert "no file here that a reader knows" in sentence(qtbot, empty_desk)
    assert not into.exists()


def test_cancel_leaves_nothing(qtbot: QtBot, empty_desk: Desk, tmp_path: Path) -> None:
    source = exports(tmp_path / "long")
    rows = np.arange(40_000)
    stamps = [f"{8 + i // 3600:02d}:{i // 60 % 60:02d}:{i % 60:02d}" for i in rows]
    columns = "\n".join(
        f"{stamp},{4.0 + i % 3 / 10},{180 + i % 5}" for i, stamp in zip(rows, stamps, strict=True)
    )
    (source / "pump.csv").write_text(f"time,pump flow (L/min),line pressure (mmHg)\n{columns}\n", "utf-8")
    drop(empty_desk, source)
    into = accept_where(qtbot, empty_desk)
    qtbot.waitUntil(lambda: empty_desk.does.errand is not None, timeout=2000)
    errand = empty_desk.does.errand
    assert errand is not None
    assert isinstance(errand.how_far, HowFarBox)
    with qtbot.waitSignal(errand.stopped, timeout=20_000):
        errand.how_far.stop.click()
    assert empty_desk.session.case is None
    assert not into.exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["desk.ini", "long"]
    assert "nothing" in empty_desk.statusBar().currentMessage().lower()


def test_work_that_will_not_stop_is_ended_and_swept_up(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(longwork, "PATIENCE_MS", 300)
    # A process that never looks at "cancel", as one deep inside a library would.
    monkeypatch.setattr(longwork, "COMMAND", ["-c", "import time; time.sleep(60)"])
    into = tmp_path / "stuck-case"
    empty_desk.does.bring_in_to([exports(tmp_path / "stuck")], into)
    errand = empty_desk.does.errand
    assert errand is not None
    assert errand.work is not None
    qtbot.waitUntil(lambda: errand.work.process_id > 0, timeout=5000)  # type: ignore[union-attr]
    (tmp_path / f".stuck-case.partial-{errand.work.process_id}" / "traces").mkdir(parents=True)
    assert errand.how_far is not None
    with qtbot.waitSignal(errand.stopped, timeout=10_000):
        errand.how_far.stop.click()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["desk.ini", "stuck"]


def test_closing_the_desk_in_the_middle_leaves_nothing_half_made(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path
) -> None:
    into = tmp_path / "closed-case"
    empty_desk.does.bring_in_to([exports(tmp_path / "closed", rows=3000)], into)
    errand = empty_desk.does.errand
    assert errand is not None
    with qtbot.waitSignal(errand.work.progressed, timeout=20_000):  # type: ignore[union-attr]
        pass
    empty_desk.close()
    left = sorted(path.name for path in tmp_path.iterdir())
    assert left in (["closed", "desk.ini"], ["closed", "closed-case", "desk.ini"])  # nothing, or the whole
    if into.exists():
        open_case(into).close()


@pytest.mark.usefixtures("at_hand")
def test_open_questions_are_asked_and_the_answer_is_used(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path
) -> None:
    source = exports(tmp_path / "odd", unit="7")
    drop(empty_desk, source)
    into = accept_where(qtbot, empty_desk)
    qtbot.waitUntil(lambda: empty_desk.findChild(QuestionsBox) is not None, timeout=20_000)
    box = empty_desk.findChild(QuestionsBox)
    assert not into.exists(), "nothing is written before the answer"
    assert not box.go_on.isEnabled()
    (answers,) = box.boxes
    listed = [answers.itemText(number) for number in range(answers.count())]
    # A pump flow may be read in these units; its values, 4.1 on average, are told for each.
    units = [words.split(":")[0] for words in listed]
    assert (units[:2], units[-1]) == (["L/min", "mL/min"], "not known")
    assert listed[0].startswith("L/min: mean 4.1 L/min")
    answers.setCurrentIndex(0)
    assert box.go_on.isEnabled()
    box.go_on.click()
    qtbot.waitUntil(lambda: empty_desk.session.case is not None, timeout=20_000)
    assert empty_desk.session.case is not None
    assert empty_desk.session.case["pump_flow"].unit == "L/min"


@pytest.mark.usefixtures("at_hand")
def test_a_unit_can_be_left_unknown(qtbot: QtBot, empty_desk: Desk, tmp_path: Path) -> None:
    drop(empty_desk, exports(tmp_path / "odd", unit="7"))
    accept_where(qtbot, empty_desk)
    qtbot.waitUntil(lambda: empty_desk.findChild(QuestionsBox) is not None, timeout=20_000)
    box = empty_desk.findChild(QuestionsBox)
    (answers,) = box.boxes
    answers.setCurrentIndex(answers.count() - 1)
    box.go_on.click()
    qtbot.waitUntil(lambda: empty_desk.session.case is not None, timeout=20_000)
    assert empty_desk.session.case is not None
    channel = empty_desk.session.case["pump/pump_flow"]
    assert (channel.unit, channel.kind) == ("", "other")


def test_all_proposals_are_chosen_by_one_button_and_every_answer_is_sent(qtbot: QtBot) -> None:
    box = QuestionsBox(
        [
            {
                "id": "unit:a/b", "text": "a 12 mm[Hg]", "proposal": "take it as kPa",
                "choices": [
                    {"words": "mm[Hg]", "answers": {"units": {"a/b": "mm[Hg]"}}, "proposed": False},
                    {"words": "kPa", "answers": {"units": {"a/b": "kPa"}}, "proposed": True},
                ],
            },
            {
                "id": "columns:c.csv", "text": "c.csv", "proposal": "as last time",
                "choices": [{"words": "as last time", "answers": {"columns": {"c.csv": "last time"}}}],
            },
        ]
    )  # fmt: skip
    qtbot.addWidget(box)
    assert box.boxes[0].itemText(0) == "mmHg", "as people write it"
    box.take_all.click()
    with qtbot.waitSignal(box.answered) as heard:
        box.go_on.click()
    assert heard.args == [{"units": {"a/b": "kPa"}, "columns": {"c.csv": "last time"}}]


@pytest.mark.usefixtures("at_hand")
def test_one_refused_file_is_left_out_and_the_others_are_brought_in(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path
) -> None:
    source = exports(tmp_path / "mixed")
    (source / "monitor.edf").write_bytes(b"0       " + b" " * 60)
    (source / "letter.doc").write_bytes(b"\xd0\xcf\x11\xe0 words")
    drop(empty_desk, source)
    into = accept_where(qtbot, empty_desk)
    qtbot.waitUntil(lambda: empty_desk.findChild(RefusedBox) is not None, timeout=20_000)
    box = empty_desk.findChild(RefusedBox)
    assert "monitor.edf" in box.text()
    assert not into.exists(), "nothing is written meanwhile"
    box.others.click()
    text = sentence(qtbot, empty_desk)
    assert "monitor.edf" in text, "named again in the result"
    case = empty_desk.session.case
    assert case is not None
    assert [one.name for one in case.sources] == ["pump"]
    told = [words for one in case.sources for words in one.set_aside]
    assert any(words.startswith("monitor.edf: it was refused") for words in told)
    assert any(words.startswith("letter.doc: no reader knows it") for words in told)


@pytest.mark.usefixtures("at_hand")
def test_with_a_refused_file_nothing_at_all_can_be_chosen(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path
) -> None:
    source = exports(tmp_path / "mixed")
    (source / "monitor.edf").write_bytes(b"0       " + b" " * 60)
    drop(empty_desk, source)
    into = accept_where(qtbot, empty_desk)
    qtbot.waitUntil(lambda: empty_desk.findChild(RefusedBox) is not None, timeout=20_000)
    qtbot.keyClick(empty_desk.findChild(RefusedBox), Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: empty_desk.does.errand is None, timeout=2000)
    assert not into.exists()


def odd_table(folder: Path) -> Path:
    """A table that does not say what its times are: minutes of the pump without a date or a unit."""
    folder.mkdir()
    (folder / "rows.csv").write_text(
        "\n".join(f"{i * 7 % 11},{i * 3 % 5}" for i in range(50)) + "\n", "utf-8"
    )
    return folder


@pytest.mark.usefixtures("at_hand")
def test_a_refused_table_offers_to_match_its_columns_and_is_read_by_the_map(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path
) -> None:
    source = odd_table(tmp_path / "odd")
    drop(empty_desk, source)
    accept_where(qtbot, empty_desk)
    qtbot.waitUntil(lambda: empty_desk.findChild(RefusedBox) is not None, timeout=20_000)
    box = empty_desk.findChild(RefusedBox)
    assert box.match.isVisible()
    assert not box.others.isVisible(), "there are no others"
    box.match.click()
    qtbot.waitUntil(lambda: empty_desk.findChild(MatchColumnsBox) is not None, timeout=5000)
    matching = empty_desk.findChild(MatchColumnsBox)
    columns = tmp_path / "rows-columns.toml"
    columns.write_text(
        "[file]\nheader_rows = 0\n[time]\nrate_hz = 1.0\n"
        '[[channel]]\ncolumn = 1\nlabel = "pump flow"\nunit = "L/min"\n',
        "utf-8",
    )
    matching.matched.emit(str(source / "rows.csv"), str(columns))
    qtbot.waitUntil(lambda: empty_desk.session.case is not None, timeout=20_000)


def test_the_tables_among_exports_are_offered_for_matching(tmp_path: Path) -> None:
    source = exports(tmp_path / "mixed")
    (source / "letter.doc").write_bytes(b"\xd0\xcf\x11\xe0 words")
    (source / "empty.csv").write_bytes(b"")
    assert tables([source]) == [source / "pump.csv"]


def test_columns_matched_beforehand_go_with_the_bring_in(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = exports(tmp_path / "run")
    box = WhereBox([source], None, empty_desk)
    box._take_columns(str(source / "pump.csv"), "/a/pump-columns.toml")
    assert "pump.csv" in box.matched.text()
    asked: list[dict[str, Any]] = []
    monkeypatch.setattr(Errand, "start", lambda errand: asked.append(errand._request))
    empty_desk.does.bring_in_to([source], tmp_path / "case", box.columns)
    assert asked[0]["columns"] == ["/a/pump-columns.toml"]
    assert asked[0]["learned_in"] == str(mappings.default_folder()), "what is decided is kept for the next"


def persons(folder: Path) -> Path:
    """A pump's rows, dated, and a log in which persons are named; invented."""
    exports(folder)
    rows = (folder / "pump.csv").read_text("utf-8").replace("\n08:", "\n2031-05-04 08:")
    (folder / "pump.csv").unlink()
    (folder / "pump_Beispiel_MRN0047118.csv").write_text(rows, "utf-8")
    (folder / "log.csv").write_text(
        "time,text\n08:01,Dr Keller called\n08:02,clamp on; born 3.4.1961\n", "utf-8"
    )
    return folder


def preview(qtbot: QtBot, desk: Desk, *, keep: bool) -> tuple[WhereBox, list[tuple[str, ...]]]:
    """The lines that the box lists, after a press on its button."""
    box = desk.box
    assert isinstance(box, WhereBox)
    box.keep.setChecked(keep)
    qtbot.mouseClick(box.preview, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: bool(box.findChildren(KeptOutBox)), timeout=20_000)
    (shown,) = box.findChildren(KeptOutBox)
    at = range(shown.table.rowCount())
    items = [[shown.table.item(row, column) for column in range(5)] for row in at]
    lines = [tuple(item.text() for item in row if item is not None) for row in items]
    shown.close()
    qtbot.waitUntil(lambda: not box.findChildren(KeptOutBox), timeout=2000)
    return box, lines


@pytest.mark.usefixtures("at_hand")
def test_the_preview_lists_what_would_be_kept_out_and_writes_nothing(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path
) -> None:
    source = persons(tmp_path / "run")
    drop(empty_desk, source)
    qtbot.waitUntil(lambda: isinstance(empty_desk.box, WhereBox), timeout=2000)
    box, lines = preview(qtbot, empty_desk, keep=False)
    pump = "pump_Beispiel_MRN0047118.csv"
    assert ("log.csv", "note", "name", "Keller", "kept out") in lines
    assert ("log.csv", "note", "date of birth", "3.4.1961", "kept out") in lines
    assert (pump, "clock of the recording", "date", "2031-05-04", "kept out") in lines
    assert any(line[:3] == (pump, "file name", "number") and "0047118" in line[3] for line in lines)
    assert {line[4] for line in lines} <= {"kept out", "left, look at it"}
    _, chosen = preview(qtbot, empty_desk, keep=True)
    assert ("log.csv", "note", "name", "Keller", "kept, as chosen") in chosen
    assert not any(line[:2] == ("log.csv", "header") for line in chosen), "told where it is read"
    assert [path.name for path in tmp_path.iterdir() if path.is_dir() and "run" in path.name] == ["run"]
    assert box.looking is None
    assert empty_desk.session.case is None


@pytest.mark.usefixtures("at_hand")
def test_a_file_that_cannot_be_read_is_said_instead_of_the_preview(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path
) -> None:
    source = tmp_path / "run"
    source.mkdir()
    (source / "picture.xyz").write_bytes(bytes(range(256)))
    box = WhereBox([source], None, empty_desk)
    qtbot.addWidget(box)
    box.preview.click()
    qtbot.waitUntil(lambda: bool(box.findChildren(QMessageBox)), timeout=5000)
    assert "no file here that a reader knows" in box.findChildren(QMessageBox)[0].text()
    assert box.looking is None


def test_a_look_at_exports_can_be_stopped(qtbot: QtBot, empty_desk: Desk, tmp_path: Path) -> None:
    source = exports(tmp_path / "run", rows=3600)
    box = WhereBox([source], None, empty_desk)
    qtbot.addWidget(box)
    box.preview.click()
    assert box.looking is not None
    with qtbot.waitSignal(box.looking.stopped, timeout=20_000):
        assert box.looking.how_far is not None
        box.looking.how_far.reject()
    assert box.looking is None
    assert not box.findChildren(KeptOutBox)
    assert [path.name for path in source.iterdir()] == ["pump.csv"]
    assert not (tmp_path / "run-case").exists()


@pytest.mark.usefixtures("at_hand")
@pytest.mark.parametrize("keep", [False, True])
def test_identity_is_kept_only_where_the_box_is_ticked(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path, keep: bool
) -> None:
    drop(empty_desk, persons(tmp_path / "run"))
    qtbot.waitUntil(lambda: isinstance(empty_desk.box, WhereBox), timeout=2000)
    box = empty_desk.box
    assert isinstance(box, WhereBox)
    assert not box.keep.isChecked()
    box.keep.setChecked(keep)
    qtbot.keyClick(box, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: empty_desk.session.case is not None, timeout=20_000)
    case = empty_desk.session.case
    assert case is not None
    assert any("Keller" in note.text for note in case.notes) is keep
    assert case.start_clock is not None
    assert (case.start_clock.year == 2031) is keep


def test_a_part_of_a_record_takes_its_header_with_it(tmp_path: Path) -> None:
    source = exports(tmp_path / "parts")
    header, data = source / "r1.hea", source / "r1.dat"
    header.write_text("r1 1 100 10\nr1.dat 16 200 16 0 0 0 0 ABP\n")
    data.write_bytes(b"\x01\x02")
    also, others = without([source], [], data)
    assert (also, others) == ([header], [source / "pump.csv"])
    assert without([source / "pump.csv"], [], source / "pump.csv") == ([source / "pump.csv"], [])


@pytest.mark.usefixtures("at_hand")
def test_questions_can_be_left_and_nothing_is_brought_in(
    qtbot: QtBot, empty_desk: Desk, tmp_path: Path
) -> None:
    drop(empty_desk, exports(tmp_path / "odd", unit="7"))
    into = accept_where(qtbot, empty_desk)
    qtbot.waitUntil(lambda: empty_desk.findChild(QuestionsBox) is not None, timeout=20_000)
    empty_desk.findChild(QuestionsBox).reject()
    qtbot.waitUntil(lambda: empty_desk.does.errand is None, timeout=2000)
    assert not into.exists()
    assert empty_desk.isVisible()


@pytest.mark.usefixtures("at_hand")
def test_the_demo_is_opened_again_when_it_was_built_before(
    qtbot: QtBot, empty_desk: Desk, small_folder: Path, tmp_path: Path
) -> None:
    shutil.copytree(small_folder, tmp_path / "demo" / demo.CASE)
    empty_desk.settings.setValue("folders/demo", str(tmp_path / "demo"))
    qtbot.mouseClick(empty_desk.shelf.demo, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: empty_desk.session.case is not None, timeout=20_000)
    assert empty_desk.session.case is not None
    assert empty_desk.session.case.folder == tmp_path / "demo" / demo.CASE


def test_a_late_source_is_added_to_the_open_case(qtbot: QtBot, desk: Desk, tmp_path: Path) -> None:
    assert desk.session.case is not None
    folder = desk.session.case.folder
    drop(desk, exports(tmp_path / "late"))
    qtbot.waitUntil(lambda: isinstance(desk.box, WhereBox), timeout=2000)
    box = desk.box
    assert isinstance(box, WhereBox)
    late = box.findChild(QCheckBox)
    late.setChecked(True)
    qtbot.keyClick(box, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: desk.does.errand is None and desk.session.case is not None, timeout=20_000)
    assert {path.stem for path in (folder / "traces").glob("*.h5")} == {"monitor", "pump", "pump-2"}
    assert {source.name for source in desk.session.case.sources} == {"monitor", "pump", "pump-2"}


def test_a_case_folder_is_proposed_that_is_not_there_yet(tmp_path: Path) -> None:
    source = exports(tmp_path / "run")
    assert beside([source]).name == "run-case"
    (tmp_path / "run-case").mkdir()
    assert beside([source]).name == "run-case-2"
    assert beside([source / "pump.csv"]) == source / "pump-case"


def test_the_case_paper_is_written_by_its_own_process(qtbot: QtBot, desk: Desk, tmp_path: Path) -> None:
    out = tmp_path / "paper.html"
    desk.does.write_paper(out)
    assert "paper.html" in sentence(qtbot, desk)
    assert "not for use in care" in out.read_text("utf-8")


def test_work_that_cannot_be_started_is_said(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("afterclamp.replay.longwork.sys.executable", "/nowhere/python")
    work = LongWork({"task": "look", "case": "x"})
    with qtbot.waitSignal(work.sentence, timeout=5000) as said:
        work.start()
    assert "/nowhere/python" in said.args[0]


def test_work_that_dies_is_said_with_its_last_line(qtbot: QtBot) -> None:
    work = LongWork({"task": "no such task"})
    with qtbot.waitSignal(work.sentence, timeout=20_000) as said:
        work.start()
    assert "KeyError" in said.args[0]


def test_the_process_speaks_json_lines_and_ends_with_one_outcome(tmp_path: Path) -> None:
    request = {"task": "bring_in", "paths": [str(exports(tmp_path / "one"))], "into": str(tmp_path / "case")}
    done = subprocess.run(
        [sys.executable, "-P", *longwork.COMMAND],
        input=json.dumps(request) + "\n" + "",
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    heard: list[dict[str, Any]] = [json.loads(line) for line in done.stdout.splitlines()]
    outcomes = [message for message in heard if "progress" not in message]
    # Standard input has ended: whoever asked is gone, so it stops. Either way there is one outcome.
    assert len(outcomes) == 1
    assert outcomes[0] == {"cancelled": True} or outcomes[0] == {"result": str(tmp_path / "case")}
    if outcomes[0] == {"cancelled": True}:
        assert not (tmp_path / "case").exists()
    else:
        open_case(tmp_path / "case").close()
