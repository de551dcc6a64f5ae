"""How the desk is started: cautions before any trace, the shelf without a case, and what the command line passes on."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from afterclamp.io import mappings, open_case
from afterclamp.replay import app, window
from afterclamp.replay.commands import main
from afterclamp.replay.desk import Desk
from afterclamp.replay.panes.sheets import CautionsBox
from afterclamp.replay.session import Session
from click.testing import CliRunner
from desk_support import own_settings, settings, small_folder  # noqa: F401
from PySide6.QtCore import QSettings
from pytestqt.qtbot import QtBot

# ruff: noqa: F811


@pytest.fixture(autouse=True)
def _no_look(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Session, "look", lambda _: None)


def test_no_trace_is_shown_before_the_cautions_were_accepted(
    qtbot: QtBot, tmp_path: Path, small_folder: Path
) -> None:
    desk = Desk(own_settings(tmp_path))
    qtbot.addWidget(desk)
    with qtbot.waitExposed(desk):
        desk.show()
    desk.open_first(small_folder)
    qtbot.waitUntil(lambda: isinstance(desk.box, CautionsBox), timeout=2000)
    qtbot.wait(50)
    assert desk.session.case is None
    box = desk.box
    assert isinstance(box, CautionsBox)
    box.read.setChecked(True)
    box.accept()
    qtbot.waitUntil(lambda: desk.session.case is not None, timeout=5000)
    desk.close()


def test_who_has_read_the_cautions_sees_the_case_at_once(
    qtbot: QtBot, settings: QSettings, small_folder: Path
) -> None:
    desk = Desk(settings)
    qtbot.addWidget(desk)
    desk.open_first(small_folder)
    assert desk.session.case is not None
    desk.close()


# -- the command line -------------------------------------------------------------------------------


def run(*arguments: object) -> Any:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_without_a_command_the_shelf_opens_where_there_is_a_display(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[list[str]] = []
    monkeypatch.setattr(app, "run", lambda arguments: opened.append(list(arguments)) or 0)
    monkeypatch.setattr(window, "why_no_window", lambda: "")
    assert run().exit_code == 0
    assert opened == [[]]


def test_without_a_command_and_without_a_display_the_usage_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app, "run", lambda _: pytest.fail("there is no display"))
    monkeypatch.setattr(window, "why_no_window", lambda: "this machine has no display")
    result = run()
    assert result.exit_code == 2
    assert "bring-in" in result.stderr
    assert result.stdout == ""


def test_help_is_help_and_opens_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app, "run", lambda _: pytest.fail("nothing was to be opened"))
    result = run("--help")
    assert result.exit_code == 0
    assert "bring-in" in result.stdout


def table(folder: Path, unit: str = "L/min", name: str = "") -> Path:
    """A pump's rows, headed by somebody's name where one is given."""
    folder.mkdir()
    lines = [f"Patient name: {name}"] if name else []
    lines += [f"time,pump flow ({unit})"]
    lines += [f"2031-05-06 08:{i // 60:02d}:{i % 60:02d},{4.0 + i % 3 / 10:.1f}" for i in range(120)]
    path = folder / "pump.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def test_what_says_who_it_was_is_kept_only_when_that_is_asked_for(tmp_path: Path) -> None:
    path = table(tmp_path / "one")
    for name, options, year in (("plain", [], False), ("kept", ["--keep-identity"], True)):
        result = run("bring-in", path, "--into", tmp_path / name, *options)
        assert result.exit_code == 0, result.stderr
        with open_case(tmp_path / name) as case:
            assert case.start_clock is not None
            assert (case.start_clock.year == 2031) is year


def test_what_was_accepted_on_the_command_line_is_learned_in_the_settings_folder(tmp_path: Path) -> None:
    answers = tmp_path / "answers.toml"
    answers.write_text('[units]\n"pump/pump_flow" = "L/min"\n', "utf-8")
    first = run(
        "bring-in",
        table(tmp_path / "one", "7"),
        "--into",
        tmp_path / "a",
        "--as-before",
        "--answers",
        answers,
    )
    assert first.exit_code == 0, first.stderr
    assert list(mappings.default_folder().glob("*.toml"))
    second = run("bring-in", table(tmp_path / "two", "7"), "--into", tmp_path / "b", "--as-before")
    assert second.exit_code == 3
    assert "in the last source that looked the same" in second.stderr
    assert "proposed: take it as L/min" in second.stderr


def test_tests_learn_in_no_home_folder() -> None:
    assert Path.home() not in mappings.default_folder().parents or "pytest" in str(mappings.default_folder())


def test_a_refused_file_ends_the_command_with_its_sentence(tmp_path: Path) -> None:
    path = table(tmp_path / "mixed")
    path.with_name("monitor.edf").write_bytes(b"0       " + b" " * 60)
    result = run("bring-in", path.parent, "--into", tmp_path / "case")
    assert result.exit_code == 1
    assert "monitor.edf" in result.stderr
    assert not (tmp_path / "case").exists()
