"""Check: a case that is not as it was left is told, down to one bit of a stored sample."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
import small_case
from afterclamp.io import bring_in, open_case
from afterclamp.io.errors import CaseError
from afterclamp.io.recording import Segment
from afterclamp.replay.checks import Check, check_case, refuse_if_wrong
from recordings import START, case_of, even, recording

PUMP = "time,Flow [L/min],Line P [mmHg]\n" + "".join(
    f"08:00:{s:02d},4.{s:02d},{200 + s}\n" for s in range(60)
)


@pytest.fixture
def case(tmp_path: Path) -> Path:
    (tmp_path / "pump.csv").write_text(PUMP)
    (tmp_path / "log.csv").write_text("time,text\n08:00,on bypass\n08:05,clamp on\n")
    bring_in([tmp_path / "pump.csv", tmp_path / "log.csv"], tmp_path / "case").close()
    return tmp_path / "case"


def wrong(case: Path) -> list[Check]:
    return [row for row in check_case(case) if not row.ok]


def test_a_case_as_it_was_left_holds(case: Path) -> None:
    rows = check_case(case)
    assert all(row.ok for row in rows)
    assert sum("written at bring-in" in row.found for row in rows) == 2
    assert sum(row.found == "the original is as it was" for row in rows) == 2
    refuse_if_wrong(rows, case)


def test_a_sample_that_was_changed_within_its_levels_is_still_seen(case: Path) -> None:
    with h5py.File(case / "traces" / "pump.h5", "r+") as file:
        group = file["channels/Flow"]
        group["samples"][30] = 4.31  # within what the bucket's lowest and highest say
    found = wrong(case)
    assert "changed after it was brought in" in " ".join(row.found for row in found)
    with pytest.raises(CaseError, match="did not hold"):
        refuse_if_wrong(found, case)


def test_a_note_that_was_changed_is_seen(case: Path) -> None:
    with h5py.File(case / "traces" / "log.h5", "r+") as file:
        file["notes/text"][1] = "clamp off"
    assert [row.what for row in wrong(case)] == ["traces/log.h5"]


def test_changed_originals_are_told_and_missing_ones_are_no_fault_of_the_case(case: Path) -> None:
    (case.parent / "pump.csv").write_text(PUMP + "08:01:00,4.5,260\n")
    (case.parent / "log.csv").unlink()
    rows = check_case(case)
    assert [row.what for row in rows if not row.ok] == ["source pump, file pump.csv"]
    assert any("not where it was any more" in row.found for row in rows)


def test_what_was_taken_out_is_told_and_still_checked(case: Path) -> None:
    with open_case(case) as opened:
        opened.take_out("mara", "log")
    rows = check_case(case)
    assert all(row.ok for row in rows)
    assert Check("source log", True, "was taken out; its file stays") in rows
    assert any(row.what == "traces/log.h5" and "written at bring-in" in row.found for row in rows)


def test_a_source_years_away_from_the_others_is_told_and_is_no_damage(tmp_path: Path) -> None:
    still = np.full(60, 37.0, np.float32)
    parts = [
        recording(name, [even("NP", still, [Segment(0.0, 0, 60, 1.0)], unit="Cel")], first_stamp=START + late)
        for name, late in (("monitor", timedelta()), ("pump", timedelta(days=-9497)))
    ]
    with case_of(tmp_path / "far", *parts) as made:
        made.edit("mara", "reference", {"source": "monitor"})
    (row,) = [row for row in check_case(tmp_path / "far") if row.what == "far away"]
    assert row.ok
    assert row.found.startswith("pump: something of it lies 9,497 days before the start of monitor")


def test_an_edit_that_cannot_be_followed_is_told(case: Path) -> None:
    with open_case(case) as opened:
        opened.log.append("mara", "identity", {"channel": "pump/Flow", "kind": "blood"})
    assert any("cannot be followed" in row.found for row in wrong(case))


def test_a_case_from_before_trace_files_were_hashed_says_so(case: Path) -> None:
    log = case / "log" / "bring-in.jsonl"
    lines = [line for line in log.read_text("utf-8").splitlines() if "trace_sha256" not in line]
    log.write_text("\n".join(lines) + "\n", "utf-8")
    rows = check_case(case)
    assert all(row.ok for row in rows)
    assert sum("was not kept" in row.found for row in rows) == 2


@pytest.mark.parametrize(
    ("spoil", "todo"),
    [
        ("newer", "Open it with a newer afterclamp"),
        ("link", "Trace files hold everything themselves"),
        ("closed", "Get permission to read it"),
        ("sample", "Go back to the sources"),
    ],
)
def test_each_thing_that_is_wrong_has_its_own_remedy(
    case: Path, monkeypatch: pytest.MonkeyPatch, spoil: str, todo: str
) -> None:
    path = case / "traces" / "pump.h5"
    if spoil == "closed":
        own_file, own_open = h5py.File, Path.open

        def closed_file(name: Path, *arguments: Any, **more: Any) -> Any:
            if name == path:
                raise PermissionError(13, "Permission denied")
            return own_file(name, *arguments, **more)

        def closed_open(name: Path, *arguments: Any, **more: Any) -> Any:
            if name == path:
                raise PermissionError(13, "Permission denied")
            return own_open(name, *arguments, **more)

        monkeypatch.setattr(h5py, "File", closed_file)
        monkeypatch.setattr(Path, "open", closed_open)
    else:
        with h5py.File(path, "r+") as file:
            if spoil == "newer":
                file.attrs["format_version"] = 99
            elif spoil == "link":
                del file["channels/Flow/samples"]
                file["channels/Flow/samples"] = h5py.ExternalLink("../../secret.h5", "/samples")
            else:
                file["channels/Flow"]["samples"][30] = 9.0
    with pytest.raises(CaseError) as caught:
        refuse_if_wrong(check_case(case), case)
    assert caught.value.todo.startswith(todo)


def test_what_cannot_be_of_phases_and_lines_is_asked_and_is_no_damage(tmp_path: Path) -> None:
    # Twenty minutes on bypass, without heparin or a clotting time on any line.
    folder = small_case.make(tmp_path / "case")
    rows = check_case(folder)
    asked = [row for row in rows if row.asks]
    assert [row.what for row in asked] == ["heparin or clotting time missing before bypass"] * 2
    assert all(row.ok and row.todo for row in asked)
    assert asked[0].as_dict()["asks"] is True
    refuse_if_wrong(rows, folder)


def test_a_case_without_a_pump_says_that_no_phase_was_held_against_another(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("time,text\n08:00,induction\n08:05,cannula in\n")
    (tmp_path / "temp.csv").write_text("time,NP [°C]\n08:00:00,36.5\n08:00:10,36.5\n08:00:20,36.5\n")
    bring_in([tmp_path / "temp.csv", tmp_path / "log.csv"], tmp_path / "case").close()
    (row,) = [row for row in check_case(tmp_path / "case") if row.what == "phases and lines"]
    assert row.ok
