"""Bring-in: whole or not at all, questions before a byte is written, a late source, a stop."""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from afterclamp.io import bring_in
from afterclamp.io.errors import Cancelled, CannotWrite, CaseError, FileUnreadable, QuestionsOpen
from afterclamp.io.plan import look
from afterclamp.io.readers import Claim, Reader
from afterclamp.io.recording import Recording

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
        assert [edit.verb for edit in case.log if edit.verb != "source"] == ["reference", "clock"]


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ({"clocks": {"nobody": {"pieces": [{"offset_s": 1}]}}}, "there is no source 'nobody'; there are: "),
        ({"reference": {"source": "nobody"}}, "table reference: there is no source 'nobody'; there are: "),
        ({"units": {"pump/flw": "L/min"}}, "table units: there is no channel 'pump/flw'; there are: "),
        ({"identity": {"pomp/flow": {"kind": "pump_flow"}}}, "there is no channel 'pomp/flow'; there are: "),
        ({"columns": {"pomp.csv": "none"}}, "table columns: there is no file 'pomp.csv'; there are: "),
        ({"clocks": {"pump": {"pieces": [{"offset": 1}]}}}, "a clock piece has ['offset']"),
        ({"clocks": {"pump": {"pieces": "soon"}}}, "found 'soon'; expected a list of tables"),
        ({"units": {"pump/flow": "L/min7"}}, "'L/min7' is no known unit"),
        ({"units": {"pump/flow": 7}}, "found 7; expected a unit in quotes"),
        ({"identity": {"pump/flow": {"kind": "blood"}}}, "blood"),
        ({"identity": {"pump/flow": {"kind": 7}}}, "found 7; expected one of "),
        (
            {"identity": {"pump/flow": {"kind": "pump_flow", "kin": ""}}},
            "expected one of: kind, site, side, statistic",
        ),
        ({"identity": {"pump/flow": {}}}, "'kind' is missing"),
        ({"colour": {}}, "nothing by the name 'colour' belongs here; expected one of: reference, clocks"),
    ],
)
def test_an_answer_that_fits_nothing_is_refused_in_words(
    exports: Path, tmp_path: Path, answers: dict[str, object], said: str
) -> None:
    with pytest.raises(CaseError) as refused:
        bring_in(exports, tmp_path / "case", answers=answers)
    assert said in refused.value.sentence
    for jargon in ("Value error", "Input should", "Extra inputs", "Field required", "validation"):
        assert jargon not in refused.value.sentence
    assert nothing_left(tmp_path, "exports")


def test_what_is_named_wrongly_is_told_with_what_there_is(exports: Path, tmp_path: Path) -> None:
    with pytest.raises(CaseError) as refused:
        bring_in(exports, tmp_path / "case", answers={"units": {"pump/flw": "L/min"}})
    assert "there are: pump/Flow, pump/Line_P" in refused.value.sentence


def test_answers_about_a_source_that_is_in_the_case_already_are_no_strangers(
    exports: Path, tmp_path: Path
) -> None:
    (tmp_path / "late").mkdir()
    (exports / "pump.csv").rename(tmp_path / "late" / "pump.csv")
    answers = {"clocks": {"log": {"pieces": [{"offset_s": 1}]}}, "reference": {"source": "log"}}
    bring_in(exports, tmp_path / "case", answers=answers).close()
    bring_in(tmp_path / "late", tmp_path / "case", answers=answers).close()


def test_answers_about_a_file_that_is_left_out_are_passed_over(exports: Path, tmp_path: Path) -> None:
    answers = {"clocks": {"pump": {"pieces": [{"offset_s": 1}]}}, "reference": {"source": "pump"}}
    with bring_in(exports, tmp_path / "case", answers=answers, leave_out=[exports / "pump.csv"]) as case:
        assert "pump" not in {source.name for source in case.sources}
        assert not case.log.standing("clock")


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


@pytest.mark.parametrize("again", ["copy of pump.csv", "backup/pump.csv"])
def test_a_file_that_is_given_twice_is_brought_in_once_and_said(
    exports: Path, tmp_path: Path, again: str
) -> None:
    (exports / again).parent.mkdir(exist_ok=True)
    (exports / again).write_text(PUMP)
    with bring_in(exports, tmp_path / "case") as case:
        assert sum(len(source.files) for source in case.sources) == 2  # the pump once, and the log
        (told,) = [line for one in case.sources for line in one.set_aside if "same bytes" in line]
        assert "brought in once" in told


def test_a_file_with_other_bytes_is_another_source(exports: Path, tmp_path: Path) -> None:
    (exports / "pump2.csv").write_text(PUMP.replace("4.00", "4.01"))
    with bring_in(exports, tmp_path / "case") as case:
        assert len(case.sources) == 3


def test_the_same_case_sheet_twice_is_one(exports: Path, tmp_path: Path) -> None:
    (exports / "backup").mkdir()
    sheet = exports / "case-sheet.toml"
    (exports / "backup" / sheet.name).write_bytes(sheet.read_bytes())
    with bring_in(exports, tmp_path / "case") as case:
        assert case.patient.height_cm == 168
    sheet.write_text("[patient]\nheight_cm = 170\n")
    with pytest.raises(FileUnreadable, match="second case sheet"):
        bring_in(exports, tmp_path / "other")


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

    monkeypatch.setattr("afterclamp.io.whole.os.fsync", full)
    with pytest.raises(CannotWrite, match="No space left"):
        bring_in(tmp_path / "late", tmp_path / "case")
    assert sorted(str(path) for path in (tmp_path / "case").rglob("*")) == before


@pytest.mark.parametrize("refusing", ["afterclamp.io.whole.os.fsync", "afterclamp.io.log.os.fsync"])
def test_a_full_disk_names_the_case_that_was_asked_for(
    exports: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, refusing: str
) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(refusing, full)
    with pytest.raises(CannotWrite, match="No space left on device") as refused:
        bring_in(exports, tmp_path / "new" / "case")
    assert refused.value.path == tmp_path / "new" / "case"
    assert "partial" not in refused.value.sentence
    assert nothing_left(tmp_path, "exports")


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


def test_a_missing_unit_is_asked_and_proposed_only_where_the_values_leave_one(tmp_path: Path) -> None:
    (tmp_path / "pump.csv").write_text(
        "time,Flow,CVP\n" + "".join(f"08:00:{s:02d},{4 + s / 100:.2f},{6 + s % 5}\n" for s in range(60))
    )
    plan = look([tmp_path / "pump.csv"], tmp_path / "case")
    proposals = {question.id: question.proposal for question in plan.questions}
    assert proposals["unit:pump/Flow"] == "take it as L/min"
    assert proposals["unit:pump/CVP"].startswith("leave the unit unknown")  # mmHg and cmH2O both fit
    with bring_in(tmp_path / "pump.csv", tmp_path / "case", accept_proposals=True) as case:
        assert case["pump_flow"].unit == "L/min"
        assert case["pump/CVP"].kind == "other"
        assert case["pump/CVP"].proposed.kind == "central_venous_pressure"


def test_an_answer_that_is_no_unit_of_the_channel_stays_a_question(exports: Path, tmp_path: Path) -> None:
    with pytest.raises(QuestionsOpen, match="was answered"):
        bring_in(exports, tmp_path / "case", answers={"units": {"pump/Flow": "mmHg"}}, accept_proposals=True)


def test_what_was_answered_is_in_the_log(exports: Path, tmp_path: Path) -> None:
    (exports / "pump.csv").write_text(ODD)
    answers = {
        "units": {"pump/Line_P": "mmHg"},
        "identity": {"pump/Flow": {"kind": "cardioplegia_flow"}},
    }
    with bring_in(exports, tmp_path / "case", answers=answers) as case:
        told = {edit.payload["channel"]: dict(edit.payload) for edit in case.log.standing("identity")}
        assert told["pump/Line_P"]["unit_as_written"] == "mmGh"
        assert told["pump/Line_P"]["why"] == told["pump/Flow"]["why"] == "answered"
        assert case["cardioplegia_flow"].recorded_as.identity.kind == "pump_flow"


def test_each_file_takes_the_map_that_is_meant_for_it(tmp_path: Path) -> None:
    folder = tmp_path / "exports"
    folder.mkdir()
    for name in ("one", "two"):
        (folder / f"{name}.csv").write_text("".join(f"{s / 10:.1f},{s % 9}\n" for s in range(300)))
        (tmp_path / f"{name}.toml").write_text(
            f'[match]\nname = "{name}.csv"\n[file]\nheader_rows = 0\n[time]\ncolumn = 1\nkind = "seconds"\n'
            f'[[channel]]\ncolumn = 2\nlabel = "{name}"\nunit = "mV"\n'
        )
    maps = [tmp_path / "one.toml", tmp_path / "two.toml"]
    with bring_in(folder, tmp_path / "case", columns=maps) as case:
        assert {channel.id for channel in case.channels} == {"one/one", "two/two"}


def test_a_data_file_alone_asks_for_its_header(tmp_path: Path) -> None:
    (tmp_path / "r.hea").write_text("r 1 125 250\nr.dat 16 200/mV 16 0 0 0 0 II\n")
    (tmp_path / "r.dat").write_bytes(np.zeros(250, "<i2").tobytes())
    with pytest.raises(FileUnreadable, match=r"header file \(\.hea\)"):
        bring_in(tmp_path / "r.dat", tmp_path / "case")


def test_a_preview_writes_nothing(exports: Path, tmp_path: Path) -> None:
    plan = look([exports], tmp_path / "case")
    assert {recording.name for recording in plan.recordings} == {"log", "pump"}
    assert plan.reference == "pump"
    assert nothing_left(tmp_path, "exports")


def test_a_full_disk_at_the_log_leaves_an_existing_case_as_it_was(
    exports: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "late").mkdir()
    (exports / "pump.csv").rename(tmp_path / "late" / "pump.csv")
    bring_in(exports, tmp_path / "case").close()
    log = tmp_path / "case" / "log" / "bring-in.jsonl"
    before = log.read_bytes()
    appended = []

    def full(_descriptor: int) -> None:
        appended.append(1)
        if len(appended) > 1:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr("afterclamp.io.log.os.fsync", full)
    answers = {"clocks": {"pump": {"pieces": [{"offset_s": 5.0}]}}}
    with pytest.raises(CannotWrite, match="No space left"):
        bring_in(tmp_path / "late", tmp_path / "case", answers=answers)
    assert log.read_bytes() == before
    assert sorted(path.name for path in (tmp_path / "case" / "traces").iterdir()) == [
        "case-sheet.toml",
        "log.h5",
    ]


# -- how far, and a stop ---------------------------------------------------------------------------------


class Slow:
    """A reader that takes its time before it hands over anything."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.asked_to_stop = False
        self.thread: threading.Thread | None = None

    def read(self, path: Path, options: Mapping[str, Any]) -> list[Recording]:
        self.thread = threading.current_thread()
        end = time.monotonic() + self.seconds
        while time.monotonic() < end and not self.asked_to_stop:
            self.asked_to_stop = options["cancelled"]()
            time.sleep(0.01)
        return [Recording("slow", "slow", ((path.name, "0"),))]


@pytest.fixture
def slow(monkeypatch: pytest.MonkeyPatch) -> Slow:
    one = Slow(1.0)
    reader = Reader("slow", (".slow",), lambda _path, _head: Claim.MINE, one.read)
    monkeypatch.setattr("afterclamp.io.gathering.reader_of", lambda *_paths: (reader, Claim.MINE))
    return one


def test_progress_comes_at_least_every_200_ms_from_the_callers_thread(slow: Slow, tmp_path: Path) -> None:
    (tmp_path / "a.slow").write_text("x")
    heard: list[float] = []
    threads: set[threading.Thread] = set()

    def hear(_share: float, _text: str) -> None:
        heard.append(time.monotonic())
        threads.add(threading.current_thread())

    bring_in(tmp_path / "a.slow", tmp_path / "case", progress=hear).close()
    # 0.2 s is promised; a busy machine may be late once, the middle of them is not
    assert len(heard) >= 6
    assert float(np.median(np.diff(heard))) <= 0.2
    assert threads == {threading.current_thread()}
    assert slow.thread not in threads


def test_a_stop_is_followed_within_half_a_second_and_the_reader_hears_of_it(
    slow: Slow, tmp_path: Path
) -> None:
    slow.seconds = 3.0
    (tmp_path / "a.slow").write_text("x")
    begun = time.monotonic()
    with pytest.raises(Cancelled):
        bring_in(tmp_path / "a.slow", tmp_path / "case", cancelled=lambda: time.monotonic() - begun > 0.3)
    assert time.monotonic() - begun < 0.3 + 0.5
    assert nothing_left(tmp_path, "a.slow")
    assert slow.thread is not None
    slow.thread.join(5.0)
    assert slow.asked_to_stop


def test_a_progress_that_raises_ends_the_bring_in_and_leaves_nothing(exports: Path, tmp_path: Path) -> None:
    def refuse(share: float, _text: str) -> None:
        if share > 0.4:
            raise Cancelled("enough")

    with pytest.raises(Cancelled, match="enough"):
        bring_in(exports, tmp_path / "case", progress=refuse)
    assert nothing_left(tmp_path, "exports")
