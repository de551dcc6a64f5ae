"""Learned mappings: offered for the next source that looks the same, never applied unasked."""

from __future__ import annotations

import errno
import os
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from afterclamp.io import bring_in, mappings, open_case
from afterclamp.io.errors import FileUnreadable, QuestionsOpen
from afterclamp.io.plan import look
from afterclamp.io.terms import Identity


def export(folder: Path, day: int, label: str = "P1 [mmHg]") -> Path:
    folder.mkdir()
    path = folder / "monitor.csv"
    path.write_text(
        f"time,{label},Flow\n"
        + "".join(f"0{day}:00:{s:02d},{70 + s % 20},{4 + s / 100:.2f}\n" for s in range(60))
    )
    return path


DECIDED = {
    "units": {"monitor/Flow": "L/min"},
    "identity": {"monitor/P1": {"kind": "arterial_pressure", "site": "femoral", "statistic": "mean"}},
}


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """A folder of mappings after one bring-in with answers."""
    folder = tmp_path / "settings" / "mappings"
    bring_in(export(tmp_path / "one", 7), tmp_path / "case1", answers=DECIDED, learned_in=folder).close()
    return folder


def test_what_was_decided_is_kept_as_toml_with_the_labels_it_is_for(kept: Path) -> None:
    [path] = kept.iterdir()
    told = tomllib.loads(path.read_text("utf-8"))
    assert told["labels"] == ["Flow []", "P1 [mmHg]"]
    assert told["units"] == {"Flow": "L/min"}
    assert told["identity"]["P1"]["site"] == "femoral"


def test_the_next_source_that_looks_the_same_is_asked_with_it(kept: Path, tmp_path: Path) -> None:
    plan = look([export(tmp_path / "two", 8)], tmp_path / "case2", learned_in=kept)
    asked = {question.id: question for question in plan.questions}
    assert set(asked) == {"identity:monitor/P1", "unit:monitor/Flow"}
    assert asked["identity:monitor/P1"].proposal == "as last time, femoral mean"
    assert asked["unit:monitor/Flow"].proposal == "take it as L/min"
    assert "last source that looked the same" in asked["unit:monitor/Flow"].text
    assert plan.decisions == ()


def test_it_is_never_applied_unasked(kept: Path, tmp_path: Path) -> None:
    path = export(tmp_path / "two", 8)
    with pytest.raises(QuestionsOpen):
        bring_in(path, tmp_path / "case2", learned_in=kept)
    assert not (tmp_path / "case2").exists()
    answers = {
        "units": {"monitor/Flow": "unknown"},
        "identity": {"monitor/P1": {"kind": "other"}},
    }
    with bring_in(path, tmp_path / "case2", answers=answers, learned_in=kept) as case:
        assert {channel.kind for channel in case.channels} == {"other"}


def test_accepted_it_is_in_the_log(kept: Path, tmp_path: Path) -> None:
    path = export(tmp_path / "two", 8)
    with bring_in(path, tmp_path / "case2", accept_proposals=True, learned_in=kept) as case:
        assert case["femoral_mean"].id == "monitor/P1"
        assert case["pump_flow"].unit == "L/min"
        whys = {edit.payload["channel"]: edit.payload["why"] for edit in case.log.standing("identity")}
        assert whys == {"monitor/P1": "proposal accepted", "monitor/Flow": "proposal accepted"}


def test_a_source_that_looks_otherwise_is_not_asked(kept: Path, tmp_path: Path) -> None:
    plan = look([export(tmp_path / "two", 8, label="P2 [mmHg]")], tmp_path / "case2", learned_in=kept)
    assert not [question for question in plan.questions if question.id.startswith("identity:")]


def test_without_a_folder_nothing_is_learned_or_offered(kept: Path, tmp_path: Path) -> None:
    plan = look([export(tmp_path / "two", 8)], tmp_path / "case2")
    assert [question.id for question in plan.questions] == ["unit:monitor/Flow"]
    assert len(list(kept.iterdir())) == 1


def test_what_was_changed_on_the_desk_is_learned_too(kept: Path, tmp_path: Path) -> None:
    with open_case(tmp_path / "case1") as case:
        case.change_channel("mara", "femoral_mean", site="radial", side="left")
        [path] = mappings.remember(case, kept)
    plan = look([export(tmp_path / "two", 8)], tmp_path / "case2", learned_in=kept)
    told = mappings.propose(plan.recordings[0], kept)
    assert told.identity["monitor/P1"].identity() == Identity("arterial_pressure", "radial", "left", "mean")
    assert told.units == {"monitor/Flow": "L/min"}
    assert path.parent == kept


@pytest.mark.parametrize("text", ['[units]\n"Flow" = "L/min7"\n', "[units\n", "\x00"])
def test_a_mapping_mended_wrongly_is_named_and_stops_nothing(kept: Path, tmp_path: Path, text: str) -> None:
    [path] = kept.iterdir()
    path.write_text(text, "utf-8")
    plan = look([export(tmp_path / "two", 8)], tmp_path / "case2", learned_in=kept)
    [remark] = plan.remarks
    assert remark.count(path.name) == 1
    assert "unit:monitor/Flow" not in {
        question.id for question in plan.questions if "last time" in question.proposal
    }


@pytest.mark.parametrize("code", [errno.EACCES, errno.EIO])
def test_settings_that_may_not_be_read_stop_no_bring_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    folder = tmp_path / "settings" / "mappings"
    own: dict[str, Any] = {name: getattr(Path, name) for name in ("read_text", "stat", "mkdir", "write_text")}

    def refuse(name: str) -> Callable[..., Any]:
        def call(path: Path, *arguments: Any, **more: Any) -> Any:
            if folder in (path, *path.parents):
                raise OSError(code, os.strerror(code), str(path))
            return own[name](path, *arguments, **more)

        return call

    for name in own:
        monkeypatch.setattr(Path, name, refuse(name))
    (tmp_path / "map.toml").write_text('[match]\nname = "bench.csv"\n' + MAP)
    said: list[str] = []
    with bring_in(
        [export(tmp_path / "one", 7), bare(tmp_path / "two", 0.0)],
        tmp_path / "case",
        answers=DECIDED,
        columns=tmp_path / "map.toml",
        learned_in=folder,
        progress=lambda _share, text: said.append(text),
    ) as case:
        assert case["femoral_mean"].unit == "mm[Hg]"
    assert said[-1].endswith(".")
    assert os.strerror(code).lower() in said[-1]
    assert "Errno" not in said[-1]
    for sentence in said[-1].split(". "):
        assert sentence.count(str(folder)) <= 1
    # The same without a map: the look for one is refused as well.
    plan = look([export(tmp_path / "three", 9)], tmp_path / "other", learned_in=folder)
    assert len(plan.remarks) == 1


def test_labels_with_signs_of_toml_come_back_as_they_are(tmp_path: Path) -> None:
    folder = tmp_path / "settings"
    label = '"P ""A\\é"" #1 [mmHg]"'
    first = export(tmp_path / "one", 7, label=label)
    with bring_in(first, tmp_path / "case1", accept_proposals=True) as case:
        channel = next(c for c in case.channels if c.unit_as_written == "mmHg")
        case.change_channel("mara", channel.id, kind="arterial_pressure", unit="kPa")
        mappings.remember(case, folder)
    plan = look([export(tmp_path / "two", 8, label=label)], tmp_path / "case2", learned_in=folder)
    assert mappings.propose(plan.recordings[0], folder).units[channel.id] == "kPa"


# -- column maps ----------------------------------------------------------------------------------------

MAP = """
[file]
header_rows = 0
[time]
column = 1
kind = "seconds"
[[channel]]
column = 2
label = "aortic pressure"
unit = "mmHg"
"""


def bare(folder: Path, shift: float) -> Path:
    folder.mkdir()
    path = folder / "bench.csv"
    path.write_text("".join(f"{s / 10:.1f},{80 + shift + s % 9:.2f}\n" for s in range(400)))
    return path


def test_a_column_map_is_offered_for_a_table_that_begins_alike(tmp_path: Path) -> None:
    folder = tmp_path / "settings"
    (tmp_path / "map.toml").write_text(MAP)
    first = bare(tmp_path / "one", 0.0)
    bring_in(first, tmp_path / "case1", columns=tmp_path / "map.toml", learned_in=folder).close()
    second = bare(tmp_path / "two", 3.5)
    with pytest.raises(QuestionsOpen) as caught:
        bring_in(second, tmp_path / "case2", learned_in=folder)
    assert [question.id for question in caught.value.questions] == ["columns:bench.csv"]
    with bring_in(
        second, tmp_path / "case2", answers={"columns": {"bench.csv": "last time"}}, learned_in=folder
    ) as case:
        assert case["aortic"].unit == "mm[Hg]"
    with pytest.raises(FileUnreadable, match="header"):
        bring_in(second, tmp_path / "case3", answers={"columns": {"bench.csv": "none"}}, learned_in=folder)


def test_what_a_column_map_says_of_one_file_alone_does_not_go_into_the_next_case(tmp_path: Path) -> None:
    folder = tmp_path / "settings"
    rows = "".join(f"{9 + n // 60:02d}:{n % 60:02d}:00;{80 + n % 7}\n" for n in range(120))
    table = tmp_path / "bench.csv"
    table.write_text("clock;ABP mean [mmHg]\n" + rows)
    alone = 'half_day = "pm"\nsummer_time = "ends"\nstart = "09:00:00"\n'
    told = tmp_path / "map.toml"
    told.write_text(
        '# of that day\n[file]\ndecimal = ","\n\n[time]\ncolumn = "clock"\nkind = "clock"\n' + alone
    )
    kept = mappings.remember_columns(table, told, folder)
    assert kept is not None
    assert tomllib.loads(kept.read_text()) == {
        "file": {"decimal": ","},
        "time": {"column": "clock", "kind": "clock"},
    }
    # Kept with them by hand, they are not taken over either.
    kept.write_text(told.read_text())
    last_time = {"columns": {"bench.csv": "last time"}}
    with bring_in(table, tmp_path / "case", answers=last_time, learned_in=folder) as case:
        assert case.sources[0].first_stamp is not None
        assert case.sources[0].first_stamp.hour == 9


def test_a_folder_of_settings_is_named_by_the_environment(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv(mappings.SETTINGS, str(tmp_path))
    assert mappings.default_folder() == tmp_path / "mappings"
    monkeypatch.delenv(mappings.SETTINGS)
    assert mappings.default_folder().name == "mappings"
