"""The log: order, undo and redo, conflicts, and what a crash leaves."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from afterclamp.io.errors import CannotWrite, EditRefused
from afterclamp.io.log import Log
from hypothesis import given, settings
from hypothesis import strategies as st


def said(text: str | int = "clamp") -> dict[str, Any]:
    """Payload of a mark."""
    return {"id": f"m-{text}", "kind": "point", "start_s": 5.0, "end_s": 5.0, "text": str(text)}


def clock(offset_s: float = 0.0) -> dict[str, Any]:
    """Payload of a clock set by hand."""
    return {"source": "pump", "pieces": [{"offset_s": offset_s}]}


def texts(log: Log) -> list[str]:
    return [edit.payload["text"] for edit in log.standing("mark")]


def test_state_is_the_fold_of_all_edits(tmp_path: Path) -> None:
    log = Log.open(tmp_path)
    first = log.append("mara", "mark", said("clamp"))
    second = log.append("mara", "mark", said("clamp on"), supersedes=first.id)
    assert log.standing("mark") == [second]
    assert Log.open(tmp_path).standing("mark") == [second]


def test_undo_and_redo_are_edits_of_ones_own_edits_only(tmp_path: Path) -> None:
    log = Log.open(tmp_path)
    mine = log.append("mara", "mark", said("mine"))
    other = log.append("ilja", "mark", said("theirs"))
    assert log.undo("mara") is not None
    assert log.standing("mark") == [other]
    assert log.undo("mara") is None
    assert log.redo("mara") is not None
    assert log.standing("mark") == [mine, other]
    assert log.redo("mara") is None


def test_undoing_a_replacement_brings_the_replaced_back(tmp_path: Path) -> None:
    log = Log.open(tmp_path)
    first = log.append("mara", "clock", clock())
    log.append("mara", "clock", clock(), supersedes=first.id)
    log.undo("mara")
    assert log.standing("clock") == [first]


def test_a_new_edit_ends_what_can_be_redone(tmp_path: Path) -> None:
    log = Log.open(tmp_path)
    log.append("mara", "mark", said())
    log.undo("mara")
    log.append("mara", "mark", said())
    assert log.redo("mara") is None


def test_order_across_authors_is_the_counter_not_the_wall_clock(tmp_path: Path) -> None:
    one = Log.open(tmp_path)
    one.append("zoe", "mark", said(1))
    two = Log.open(tmp_path)
    two.append("abe", "mark", said(2))
    assert texts(Log.open(tmp_path)) == ["1", "2"]


def test_two_edits_that_replace_the_same_one_are_a_conflict_and_the_later_stands(tmp_path: Path) -> None:
    log = Log.open(tmp_path)
    base = log.append("mara", "clock", clock(0))
    a = log.append("mara", "clock", clock(1), supersedes=base.id)
    b = log.append("ilja", "clock", clock(2), supersedes=base.id)
    assert log.conflicts == [(a, b)]
    assert log.standing("clock")[-1] == b
    log.append("mara", "clock", clock(3), supersedes=b.id)
    log.undo("mara")
    assert log.conflicts == [(a, b)]


@settings(max_examples=30)
@given(st.integers(2, 400))
def test_a_line_torn_anywhere_is_set_aside_and_the_rest_stands(
    tmp_path_factory: pytest.TempPathFactory, cut: int
) -> None:
    folder = tmp_path_factory.mktemp("log")
    log = Log.open(folder)
    for k in range(3):
        log.append("mara", "mark", said(k))
    path = folder / "mara.jsonl"
    whole = path.read_bytes()
    last = whole.rstrip(b"\n").rfind(b"\n") + 1
    path.write_bytes(whole[: max(last + 1, len(whole) - cut)])
    torn = Log.open(folder)
    assert texts(torn) == ["0", "1"]
    assert len(torn.repairs) == 1
    torn.append("mara", "mark", said(9))
    again = Log.open(folder)
    assert texts(again) == ["0", "1", "9"]
    assert all("does not follow" not in line for line in again.repairs)
    assert any(
        json.loads(line)["verb"] == "seal" for line in path.read_text().splitlines() if line.endswith("}")
    )


def test_a_whole_line_that_lost_only_its_line_end_stands(tmp_path: Path) -> None:
    log = Log.open(tmp_path)
    log.append("mara", "mark", said(0))
    path = tmp_path / "mara.jsonl"
    path.write_bytes(path.read_bytes()[:-1])
    log = Log.open(tmp_path)
    log.append("mara", "mark", said(1))
    again = Log.open(tmp_path)
    assert texts(again) == ["0", "1"]
    assert again.repairs == []


def test_a_line_changed_by_hand_is_reported(tmp_path: Path) -> None:
    log = Log.open(tmp_path)
    log.append("mara", "mark", said(1))
    log.append("mara", "mark", said(2))
    path = tmp_path / "mara.jsonl"
    path.write_text(path.read_text().replace('"text": "1"', '"text": "7"'))
    assert any("does not follow" in line for line in Log.open(tmp_path).repairs)


@pytest.mark.parametrize("author", ["", "a/b", "..", "x y", "ü", "-a"])
def test_an_author_id_must_do_as_a_file_name(tmp_path: Path, author: str) -> None:
    with pytest.raises(EditRefused, match="file name"):
        Log.open(tmp_path).append(author, "mark", said())


def test_what_cannot_be_written_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = Log.open(tmp_path)
    log.append("mara", "mark", said(1))
    before = (tmp_path / "mara.jsonl").read_bytes()

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("afterclamp.io.log.os.fsync", full)
    with pytest.raises(CannotWrite, match="No space left"):
        log.append("mara", "mark", said(2))
    assert len(log.edits) == 1
    assert (tmp_path / "mara.jsonl").read_bytes() == before


def test_every_step_can_be_undone_and_redone(tmp_path: Path) -> None:
    log = Log.open(tmp_path)
    for k in range(60):
        log.append("mara", "mark", said(k))
    while log.undo("mara"):
        pass
    assert log.standing() == []
    while log.redo("mara"):
        pass
    assert len(log.standing("mark")) == 60
