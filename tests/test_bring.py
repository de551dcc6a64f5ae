"""Bring-in: whole or not at all, questions before a byte is written, a late source, a stop."""

from __future__ import annotations

from pathlib import Path

import pytest
from afterclamp.io import bring_in
from afterclamp.io.errors import Cancelled, CannotWrite, CaseError, FileUnreadable, QuestionsOpen

PUMP = "time,Flow [L/min],Line P [mmHg]\n" + "".join(
    f"08:00:{s:02d},{4 + s / 100:.2f},{200 + s}\n" for s in range(60)
)
ODD = PUMP.replace("[mmHg]", "[mmGh]")
LOG = "time,text\n08:00,on bypass\n08:05,clamp on\n"


@pytest.fixture
def exports(tmp_path: Path) -> Path:
    folder = tmp_path / "exports"
    folder.mkdir()
    (folder / "pump.csv").write_text(PUMP)
    (folder / "log.csv").write_text(LOG)
    (folder / "case-sheet.toml").write_text("[patient]\nheight_cm = 168\nweight_kg = 74\n")
    (folder / "notes.md").write_text("not for the program")
    return folder


def nothing_left(folder: Path, *but: str) -> bool:
    return sorted(path.name for path in folder.iterdir()) == sorted(but)


def test_a_folder_becomes_a_case(exports: Path, tmp_path: Path) -> None:
    heard: list[float] = []
    with bring_in(exports, tmp_path / "case", progress=lambda share, _text: heard.append(share)) as case:
        assert [source.name for source in case.sources] == ["log", "pump"]
        assert case["pump_flow"].read(0, 1).values.tolist() == pytest.approx([4.0], abs=1e-6)
        assert case.patient.height_cm == 168
        assert [note.text for note in case.notes] == ["on bypass", "clamp on"]
        assert any("notes.md" in line for source in case.sources for line in source.set_aside)
    assert heard[-1] == 1.0
    assert heard == sorted(heard)


def test_an_unknown_unit_is_asked_and_nothing_is_written(exports: Path, tmp_path: Path) -> None:
    (exports / "pump.csv").write_text(ODD)
    with pytest.raises(QuestionsOpen, match="mmGh") as caught:
        bring_in(exports, tmp_path / "case")
    assert [question.id for question in caught.value.questions] == ["unit:pump/Line_P"]
    assert nothing_left(tmp_path, "exports")


def test_an_answer_gives_the_unit_and_the_written_one_is_kept(exports: Path, tmp_path: Path) -> None:
    (exports / "pump.csv").write_text(ODD)
    with bring_in(exports, tmp_path / "case", answers={"units": {"pump/Line_P": "mmHg"}}) as case:
        channel = case["line_pressure"]
        assert (channel.unit, channel.unit_as_written) == ("mm[Hg]", "mmGh")


def test_accepting_the_proposal_keeps_the_channel_out_of_every_rule(exports: Path, tmp_path: Path) -> None:
    (exports / "pump.csv").write_text(ODD)
    with bring_in(exports, tmp_path / "case", accept_proposals=True) as case:
        assert case["pump/Line_P"].kind == "other"
        assert case["pump/Line_P"].unit == ""
        assert case.get("line_pressure") is None


def test_a_clock_answer_becomes_an_edit(exports: Path, tmp_path: Path) -> None:
    answers = {
        "reference": {"source": "pump"},
        "clocks": {"log": {"pieces": [{"offset_s": 125.0, "sd_s": 10}]}},
    }
    with bring_in(exports, tmp_path / "case", answers=answers) as case:
        assert case.notes[0].t == pytest.approx(-125.0)
        assert case.notes[0].sd_s == pytest.approx((10**2 + 30**2 / 3) ** 0.5, rel=1e-3)
        assert [edit.verb for edit in case.log] == ["reference", "clock"]


@pytest.mark.parametrize(
    "answers",
    [
        {"clocks": {"nobody": {"pieces": [{"offset_s": 1}]}}},
        {"clocks": {"pump": {"pieces": [{"offset": 1}]}}},
        {"units": {"pump/flow": "L/min7"}},
        {"colour": {}},
    ],
)
def test_an_answer_that_fits_nothing_is_refused(
    exports: Path, tmp_path: Path, answers: dict[str, object]
) -> None:
    with pytest.raises(CaseError):
        bring_in(exports, tmp_path / "case", answers=answers)
    assert nothing_left(tmp_path, "exports")


def test_a_late_source_is_one_more_file(exports: Path, tmp_path: Path) -> None:
    (tmp_path / "late").mkdir()
    (exports / "pump.csv").rename(tmp_path / "late" / "pump.csv")
    bring_in(exports, tmp_path / "case").close()
    before = (tmp_path / "case" / "traces" / "log.h5").read_bytes()
    with bring_in(tmp_path / "late", tmp_path / "case") as case:
        assert len(case.sources) == 2
    assert (tmp_path / "case" / "traces" / "log.h5").read_bytes() == before


def test_the_same_file_is_not_taken_twice(exports: Path, tmp_path: Path) -> None:
    bring_in(exports, tmp_path / "case").close()
    with pytest.raises(CannotWrite, match="in this case already"):
        bring_in(exports / "pump.csv", tmp_path / "case")


def test_a_damaged_file_stops_all_and_leaves_nothing(exports: Path, tmp_path: Path) -> None:
    (exports / "wave.edf").write_bytes(b"0       " + b"x" * 100)
    with pytest.raises(FileUnreadable, match=r"wave\.edf"):
        bring_in(exports, tmp_path / "case")
    assert nothing_left(tmp_path, "exports")


def test_an_empty_file_is_named(exports: Path, tmp_path: Path) -> None:
    (exports / "oximeter.csv").write_bytes(b"")
    with pytest.raises(FileUnreadable, match=r"oximeter\.csv.*empty"):
        bring_in(exports, tmp_path / "case")


def test_a_folder_without_a_readable_file_is_said(tmp_path: Path) -> None:
    (tmp_path / "none").mkdir()
    (tmp_path / "none" / "picture.bin").write_bytes(bytes(range(256)))
    with pytest.raises(FileUnreadable, match="no file here that a reader knows"):
        bring_in(tmp_path / "none", tmp_path / "case")
    assert nothing_left(tmp_path, "none")


def test_a_path_that_does_not_exist_is_said(tmp_path: Path) -> None:
    with pytest.raises(FileUnreadable, match="does not exist"):
        bring_in(tmp_path / "nowhere", tmp_path / "case")


def test_a_stop_leaves_nothing(exports: Path, tmp_path: Path) -> None:
    asked = iter([False] * 5 + [True] * 9)
    with pytest.raises(Cancelled):
        bring_in(exports, tmp_path / "case", cancelled=lambda: next(asked))
    assert nothing_left(tmp_path, "exports")


def test_a_full_disk_leaves_an_existing_case_as_it_was(
    exports: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "late").mkdir()
    (exports / "pump.csv").rename(tmp_path / "late" / "pump.csv")
    bring_in(exports, tmp_path / "case").close()
    before = sorted(str(path) for path in (tmp_path / "case").rglob("*"))

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("afterclamp.io.casefile.os.fsync", full)
    with pytest.raises(CannotWrite, match="No space left"):
        bring_in(tmp_path / "late", tmp_path / "case")
    assert sorted(str(path) for path in (tmp_path / "case").rglob("*")) == before


def test_a_folder_with_other_things_in_it_is_not_written_into(exports: Path, tmp_path: Path) -> None:
    (tmp_path / "case").mkdir()
    (tmp_path / "case" / "letter.txt").write_text("mine")
    with pytest.raises(CannotWrite, match="not a case"):
        bring_in(exports, tmp_path / "case")
    assert nothing_left(tmp_path / "case", "letter.txt")


def test_sources_of_the_same_name_are_told_apart(exports: Path, tmp_path: Path) -> None:
    (exports / "b").mkdir()
    (exports / "b" / "pump.csv").write_text(PUMP.replace("08:00", "09:00"))
    with bring_in(exports, tmp_path / "case") as case:
        assert {source.name for source in case.sources} == {"log", "pump", "pump-2"}
