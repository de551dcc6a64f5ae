"""What can be changed after a bring-in: identity and unit of a channel, sources out and in, older trace files."""

from __future__ import annotations

import os
import shutil
from datetime import timedelta
from pathlib import Path

import h5py
import numpy as np
import pytest
from afterclamp.io import bring_in, open_case
from afterclamp.io.case import Case
from afterclamp.io.errors import CaseFolderUnreadable, EditRefused
from afterclamp.io.recording import Note, RecordedChannel, Segment, one_block
from afterclamp.io.terms import Identity
from afterclamp.io.trace_file import TraceFile
from recordings import START, case_of, even, recording

MMHG_PER_KPA = 1000 / 133.322  # UCUM: mm[Hg] is 133.322 Pa


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    wave = np.round(900 + 200 * np.sin(np.arange(6000) / 15)).astype(np.int16)
    monitor = recording(
        "monitor",
        [even("ABP", wave, [Segment(0.0, 0, 6000, 100.0, scale=0.1)])],
        notes=[Note(3.0, 3.0, "flush")],
    )
    hb = RecordedChannel(
        "hb",
        "Hb",
        "g/dL",
        np.dtype("f4"),
        3,
        one_block(np.array([9.0, 8.5, 8.0], "f4")),
        times=np.array([1.0, 20, 40]),
    )
    pump = recording(
        "pump",
        [even("Flow", np.full(60, 4.4, "f4"), [Segment(0.0, 0, 60, 1.0)], unit="L/min"), hb],
        first_stamp=START + timedelta(seconds=2),
        notes=[Note(5.0, 5.0, "on")],
    )
    case_of(tmp_path / "case", monitor, pump).close()
    return tmp_path / "case"


def test_a_site_is_said_after_bring_in_and_the_rest_stays(folder: Path) -> None:
    with open_case(folder) as case:
        assert case["abp"].site == ""
        edit = case.change_channel("mara", "abp", site="radial", side="left")
        assert case["left_radial"].id == "monitor/abp"
        assert edit.payload["unit_as_written"] == "mmHg"
        assert edit.payload["unit"] == "mm[Hg]"
    with open_case(folder) as case:
        assert case["left_radial"].unit == "mm[Hg]"


def test_a_later_change_replaces_the_earlier_and_undo_brings_it_back(folder: Path) -> None:
    with open_case(folder) as case:
        first = case.change_channel("mara", "abp", site="radial")
        second = case.change_channel("noor", "abp", site="femoral")
        assert second.supersedes == first.id
        assert case["femoral"].id == "monitor/abp"
        case.log.undo("noor")
        case.refresh()
        assert case["monitor/abp"].site == "radial"
        case.log.undo("mara")
        case.refresh()
        assert case["monitor/abp"].identity == case["monitor/abp"].recorded_as.identity


def test_a_unit_is_corrected_and_the_samples_stay_as_they_are(folder: Path) -> None:
    before = (folder / "traces" / "monitor.h5").read_bytes()
    with open_case(folder) as case:
        as_written = case["monitor/abp"].read(0, 1).values
        content = case["monitor/abp"].content
        case.change_channel("mara", "monitor/abp", unit="kPa")
        channel = case["monitor/abp"]
        assert (channel.unit, channel.unit_recorded, channel.unit_as_written) == ("mm[Hg]", "kPa", "mmHg")
        assert channel.read(0, 1).values == pytest.approx(as_written * MMHG_PER_KPA, rel=1e-6)
        assert channel.content != content  # what was computed before is not taken for this
    assert (folder / "traces" / "monitor.h5").read_bytes() == before


def test_a_channel_whose_unit_is_taken_back_takes_part_in_no_rule(folder: Path) -> None:
    with open_case(folder) as case:
        case.change_channel("mara", "pump_flow", unit="")
        channel = case["pump/flow"]
        assert (channel.kind, channel.unit) == ("other", "")
        assert channel.proposed == Identity("pump_flow")
        assert case.of_kind("pump_flow") == []
        case.change_channel("mara", "pump/flow", unit="mL/min")
        assert case["pump_flow"].unit_recorded == "mL/min"


def test_a_site_goes_with_its_kind(folder: Path) -> None:
    with open_case(folder) as case:
        case.change_channel("mara", "abp", site="femoral", side="left")
        case.change_channel("mara", "monitor/abp", kind="central_venous_pressure")
        assert case["cvp"].identity == Identity("central_venous_pressure", statistic="value")


@pytest.mark.parametrize(
    "change",
    [
        {"kind": "blood"},
        {"site": "knee"},
        {"side": "middle"},
        {"statistic": "mode"},
        {"unit": "L/min7m2"},
        {"unit": "L/min"},
    ],
)
def test_a_change_that_fits_nothing_is_refused_and_leaves_no_edit(
    folder: Path, change: dict[str, str]
) -> None:
    with open_case(folder) as case:
        with pytest.raises(EditRefused):
            case.change_channel("mara", "abp", **change)
        assert case.log.edits == []


def test_an_edit_that_cannot_be_followed_is_told_and_does_not_keep_the_case_shut(folder: Path) -> None:
    with open_case(folder) as case:
        case.log.append("mara", "identity", {"channel": "monitor/abp", "kind": "blood", "unit": "mm[Hg]"})
        case.log.append("mara", "identity", {"channel": "pump/flow", "kind": "pump_flow", "unit": "furlong"})
        case.log.append("mara", "identity", {"channel": "pump/hb", "kind": "temperature", "unit": "g/dL"})
    with open_case(folder) as case:
        assert len(case.refused) == 2
        assert "blood" in case.refused[0]
        assert case["monitor/abp"].kind == "arterial_pressure"
        assert case["pump/hb"].kind == "other"  # a temperature in g/dL is none


def test_a_source_is_taken_out_and_put_back(folder: Path) -> None:
    with open_case(folder) as case:
        span, notes = case.span, len(case.notes)
        case.edit("mara", "reference", {"source": "monitor"})
        out = case.take_out("mara", "pump")
        assert out.verb == "source"
        assert [source.name for source in case.sources] == ["monitor"]
        assert case.taken_out == ("pump",)
        assert case.get("pump_flow") is None
        assert len(case.notes) == notes - 1
        assert case.until(30.0).get("pump_flow") is None
    with open_case(folder) as case:
        assert [source.name for source in case.sources] == ["monitor"]
        back = case.put_back("noor", "pump")
        assert back.supersedes == out.id
        assert case["pump_flow"].source == "pump"
        assert (case.span, len(case.notes)) == (span, notes)
        case.log.undo("noor")
        case.refresh()
        assert case.taken_out == ("pump",)


def test_the_reference_and_the_last_source_stay(folder: Path) -> None:
    with open_case(folder) as case:
        case.edit("mara", "reference", {"source": "monitor"})
        with pytest.raises(EditRefused, match="reference clock"):
            case.take_out("mara", "monitor")
        with pytest.raises(EditRefused, match="no source"):
            case.take_out("mara", "nobody")
        with pytest.raises(EditRefused, match="was not taken out"):
            case.put_back("mara", "pump")
        case.take_out("mara", "pump")
        with pytest.raises(EditRefused, match="only source"):
            case.take_out("mara", "monitor")
        # Two people, two files: one makes a source the reference that the other takes out.
        case.log.append("noor", "reference", {"source": "pump"})
        case.refresh()
        assert {source.name for source in case.sources} == {"monitor", "pump"}


def test_marks_of_a_source_that_is_out_still_stand(folder: Path) -> None:
    from afterclamp.annotate.marks import add_mark, marks

    with open_case(folder) as case:
        case.edit("mara", "reference", {"source": "monitor"})
        add_mark(case, "mara", text="here", start_s=12.0, channels=["pump_flow"])
        case.take_out("mara", "pump")
        assert [mark.start_s for mark in marks(case)] == [pytest.approx(12.0)]


# -- older versions -------------------------------------------------------------------------------------


def make_older(folder: Path) -> None:
    """Trace files as they were before version 1: no `runs` beside uneven rows, no `statistic`."""
    for path in (folder / "traces").glob("*.h5"):
        with h5py.File(path, "r+") as file:
            file.attrs["format_version"] = 0
            for group in file["channels"].values():
                del group.attrs["statistic"]
                if "runs" in group:
                    del group["runs"]


def test_a_case_of_version_0_reads_as_one_of_version_1(folder: Path, tmp_path: Path) -> None:
    older = tmp_path / "older"
    shutil.copytree(folder, older)
    make_older(older)
    before = {path.name: path.read_bytes() for path in (older / "traces").iterdir()}
    with open_case(folder) as new, open_case(older) as old:
        assert [c.id for c in old.channels] == [c.id for c in new.channels]
        for a, b in zip(old.channels, new.channels, strict=True):
            assert np.array_equal(a.read(-10, 100).t, b.read(-10, 100).t)
            assert np.array_equal(a.read(-10, 100).values, b.read(-10, 100).values)
        assert old["monitor/abp"].statistic == "wave"  # by rate and kind
        assert old["haemoglobin"].statistic == "value"
        assert old.notes == new.notes
        old.change_channel("mara", "monitor/abp", site="femoral")  # and it is worked on as any other
        assert old["femoral"].id == "monitor/abp"
    assert {path.name: path.read_bytes() for path in (older / "traces").iterdir()} == before


def test_the_clock_set_back_in_rows_of_version_0_is_seen_in_the_times(tmp_path: Path) -> None:
    times = np.array([0.0, 10, 20, 5, 15])
    rows = RecordedChannel(
        "hb", "Hb", "g/dL", np.dtype("f4"), 5, one_block(np.arange(5, dtype="f4") + 8), times=times
    )
    case_of(tmp_path / "case", recording("pump", [rows])).close()
    make_older(tmp_path / "case")
    file = TraceFile(tmp_path / "case" / "traces" / "pump.h5")
    assert file.version == 0
    assert file.channels[0].runs is not None
    assert file.channels[0].runs.tolist() == [0, 0, 0, 1, 1]
    file.close()


def test_a_newer_version_is_refused(folder: Path) -> None:
    with h5py.File(folder / "traces" / "pump.h5", "r+") as file:
        file.attrs["format_version"] = 99
    with pytest.raises(CaseFolderUnreadable, match="format version 99"):
        Case.open(folder)


# -- originals ------------------------------------------------------------------------------------------

PUMP = "time,Flow [L/min]\n" + "".join(f"08:00:{s:02d},4.{s:02d}\n" for s in range(60))


@pytest.fixture
def brought(tmp_path: Path) -> tuple[Path, Path]:
    path = tmp_path / "pump.csv"
    path.write_text(PUMP)
    bring_in(path, tmp_path / "case").close()
    return path, tmp_path / "case"


def states(case: Path, *, thorough: bool = True) -> list[str]:
    with open_case(case) as opened:
        return [one.state for one in opened.source_state(thorough=thorough)]


def test_an_original_is_as_it_was_changed_or_missing(brought: tuple[Path, Path]) -> None:
    path, case = brought
    assert states(case) == ["as it was"]
    path.write_text(PUMP.replace("4.10", "4.11"))
    assert states(case) == ["changed"]
    assert states(case, thorough=False) == ["changed"]
    path.unlink()
    assert states(case) == ["missing"]


def test_a_change_behind_an_old_time_stamp_is_seen_by_the_thorough_look(brought: tuple[Path, Path]) -> None:
    path, case = brought
    told = path.stat()
    path.write_text(PUMP.replace("4.10", "4.11"))
    os.utime(path, ns=(told.st_atime_ns, told.st_mtime_ns))
    assert states(case, thorough=False) == ["as it was"]
    assert states(case) == ["changed"]


def test_the_cache_may_go_and_another_machine_knows_nothing(
    brought: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    _, case = brought
    monkeypatch.setattr("afterclamp.io.origins.platform.node", lambda: "elsewhere")
    assert states(case) == ["not known here"]
    monkeypatch.undo()
    shutil.rmtree(case / "cache")
    assert states(case) == ["not known here"]


def test_the_path_of_an_original_stands_in_the_cache_alone(brought: tuple[Path, Path]) -> None:
    path, case = brought
    for file in case.rglob("*"):
        if file.is_file():
            assert (str(path).encode() in file.read_bytes()) == (file.name == "sources.json")
