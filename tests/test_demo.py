"""The demonstration case: made whole or not at all."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from afterclamp.io.errors import CannotWrite
from afterclamp.replay.demo import make_demo


class Stopped(Exception):
    """Somebody stopped it."""


def stop_at(share: float) -> Callable[[float, str], None]:
    def progress(part: float, _text: str) -> None:
        if part >= share:
            raise Stopped

    return progress


def test_a_demo_that_is_stopped_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(Stopped):
        make_demo(tmp_path / "demo", progress=stop_at(0.0))
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_while_the_exports_are_written_leaves_nothing_and_names_no_inner_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(folder: Path, **_: object) -> None:
        folder.mkdir()
        (folder / "monitor.edf").write_bytes(b"half")
        raise CannotWrite("could not be written", path=folder / "pump.csv", todo="Make room")

    monkeypatch.setattr("afterclamp.sample_traces.build.build_demo", refuse)
    (tmp_path / "kept").mkdir()
    with pytest.raises(CannotWrite) as refused:
        make_demo(tmp_path / "kept" / "demo")
    assert "partial" not in refused.value.sentence
    assert "unfinished" not in refused.value.sentence
    assert [path.name for path in tmp_path.rglob("*")] == ["kept"]


def test_exports_that_were_there_stay_when_the_case_cannot_be_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "exports").mkdir()
    (tmp_path / "exports" / "answers.toml").write_text("")

    def refuse(*_: object, **__: object) -> None:
        raise CannotWrite("could not be written", path=tmp_path / "demo-case")

    monkeypatch.setattr("afterclamp.replay.demo.bring_in", refuse)
    with pytest.raises(CannotWrite):
        make_demo(tmp_path)
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["answers.toml", "exports"]
