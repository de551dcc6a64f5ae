"""The command line: its JSON, its exit codes, its sentences, and what it leaves behind when something is in the way."""

from __future__ import annotations

import builtins
import csv
import errno
import io
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
import small_case
from afterclamp.io import CaseError, bring_in, casefile, open_case
from afterclamp.io.identity import Found
from afterclamp.replay import demo, window
from afterclamp.replay.commands import main
from afterclamp.replay.kept_out import summary
from afterclamp.replay.tables import plain, table, to_json
from click.testing import CliRunner, Result


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_case.make(tmp_path_factory.mktemp("commands") / "small")


@pytest.fixture
def copy(case: Path, tmp_path: Path) -> Path:
    """A case of one's own to spoil."""
    shutil.copytree(case, tmp_path / "copy")
    return tmp_path / "copy"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def read(*arguments: object) -> Any:
    """The JSON document of a reading command; NaN and Infinity are no JSON."""
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.stderr

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} in JSON")

    return json.loads(result.stdout, parse_constant=refuse)


def process(
    *arguments: object, environment: dict[str, str] | None = None, before: str = "", **more: Any
) -> subprocess.CompletedProcess[bytes]:
    """The same in a process of its own; `before` runs first."""
    code = f"{before}\nimport sys\nfrom afterclamp.replay.commands import run\nrun(sys.argv[1:])"
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        capture_output=True,
        timeout=120,
        check=False,
        env={**os.environ, **(environment or {})},
        **more,
    )


def one_sentence(text: str, *words: str) -> None:
    """One line that says what is the matter, without a trace of the inside."""
    assert text.endswith((".\n", "--help\n")), text
    assert text.count("\n") == 1, text
    assert "Traceback" not in text
    for word in words:
        assert word in text


# --- JSON ---------------------------------------------------------------------------------------------


def test_channels_say_what_was_recorded(case: Path) -> None:
    femoral, flow = read("channels", case)
    assert femoral["id"] == "monitor/fem"
    assert (femoral["name"], femoral["kind"], femoral["site"]) == ("femoral", "arterial_pressure", "femoral")
    assert (femoral["unit"], femoral["rate_hz"], femoral["start_s"], femoral["end_s"]) == (
        "mm[Hg]",
        100.0,
        0.0,
        1200.0,
    )
    assert femoral["missing_s"] == 0.0
    assert (flow["name"], flow["unit"], flow["rate_hz"]) == ("pump_flow", "L/min", 1.0)


def test_clocks_have_the_fixed_fields(case: Path) -> None:
    rows = {row["source"]: row for row in read("clocks", case)}
    assert set(rows["pump"]) >= {"source", "offset_s", "drift_ppm", "sd_s", "steps", "method"}
    assert rows["pump"]["offset_s"] == small_case.PUMP_AHEAD_S
    assert rows["pump"]["sd_s"] == 0.25
    assert rows["pump"]["steps"] == []
    assert rows["pump"]["method"] == "by hand"
    assert rows["monitor"]["method"] == "reference"


def test_phases_have_the_fixed_fields(case: Path) -> None:
    rows = read("phases", case)
    assert all(set(row) >= {"name", "start_s", "end_s", "unc_s", "source", "parent"} for row in rows)
    (bypass,) = [row for row in rows if row["name"] == "bypass"]
    assert abs(bypass["start_s"] - small_case.ON_S) <= 5
    assert abs(bypass["end_s"] - small_case.OFF_S) <= 5
    assert bypass["parent"] is None


def test_finds_have_the_fixed_fields(case: Path) -> None:
    rows = read("finds", case)
    fields = {"code", "name", "start_s", "end_s", "channels", "site", "confidence", "evidence", "linked"}
    assert all(set(row) == fields | {"unc_s", "key", "subtype"} for row in rows)
    (opened,) = [row for row in rows if row["code"] == "A1"]
    assert abs(opened["start_s"] - small_case.OPEN_S[0]) <= 1
    assert abs(opened["end_s"] - small_case.OPEN_S[1]) <= 1
    assert opened["channels"] == ["femoral"]


def test_finds_held_back_are_told_with_their_reason(demo_folder: Path) -> None:
    # The demo's truth has pressure alternans from 328:00 to 331:00 and ventilation swings only from 333:00 on: beats
    # that change by turns are seen, and are no swing with the breath.
    (alternating,) = [row for row in read("finds", demo_folder, "--held-back") if row["start_s"] > 327 * 60]
    assert alternating["code"] == "E30"
    assert 328 * 60 - 5 <= alternating["start_s"] < alternating["end_s"] <= 331 * 60 + 15
    assert "by turns" in alternating["held_back"]
    assert not any(
        row["code"] == "E30" and row["start_s"] == alternating["start_s"]
        for row in read("finds", demo_folder)
    )
    text = run("finds", demo_folder).stdout
    assert "E30  high pulse pressure variation" in text.split("Seen and not put forward:\n")[1]
    assert alternating["held_back"] in text
    assert alternating["held_back"] in run("finds", demo_folder, "--held-back").stdout


def test_a_kinked_line_is_told_as_an_artefact_and_its_pressure_as_no_hypotension(demo_folder: Path) -> None:
    # The demo's truth: the femoral line kinked from 286:00 to 288:30 (A5); it drifts to 38 mmHg, the others stay.
    there = [row for row in read("finds", demo_folder) if 285 * 60 < row["start_s"] < 289 * 60]
    assert [row["code"] for row in there] == ["A5"]
    assert there[0]["channels"] == ["femoral"]


def test_nothing_held_back_is_an_empty_list(case: Path) -> None:
    assert read("finds", case, "--held-back") == []
    assert "No rule held anything back." in run("finds", case, "--held-back").stdout
    assert "Seen and not put forward" not in run("finds", case).stdout


def test_a_clock_that_is_not_set_is_unknown_and_not_exact(case: Path, tmp_path: Path) -> None:
    # Without its edit the pump's clock is nobody's: no ± may then look like a small one.
    shutil.copytree(case, tmp_path / "unset")
    (log,) = (tmp_path / "unset" / "log").glob("*.jsonl")
    log.unlink()
    pump = next(row for row in read("clocks", tmp_path / "unset") if row["source"] == "pump")
    assert (pump["method"], pump["sd_s"]) == ("unset", None)
    assert all(row["unc_s"] is None for row in read("phases", tmp_path / "unset"))
    assert all(
        row["unc_s"] is None for row in read("finds", tmp_path / "unset") if "pump_flow" in row["channels"]
    )
    for command in ("clocks", "phases"):
        text = run(command, tmp_path / "unset").stdout
        assert "± unknown (clock not set)" in text
        assert "inf" not in text
    assert any(
        "± unknown, the clock of pump not set" in row["note"] for row in read("figures", tmp_path / "unset")
    )


def test_figures_carry_measure_phase_and_denominator(case: Path) -> None:
    rows = read("figures", case)
    for row in rows:
        assert {"measure", "phase", "value", "unit", "limit", "limit_source", "site", "clean"} <= set(row)
        assert {"outside_s", "observed_s", "excluded_s", "masked_s", "missing_s"} <= set(row)
    pressure = [row for row in rows if row["measure"] == "mean_arterial_pressure" and row["phase"] == "pre"]
    assert pressure
    for row in pressure:
        parts = row["observed_s"] + row["excluded_s"] + row["masked_s"] + row["missing_s"]
        assert parts == pytest.approx(small_case.ON_S, abs=5)


def test_rules_are_told_in_words_with_their_status(case: Path) -> None:
    rows = read("finds", case, "--rules")
    assert {"A1", "A2", "E17"} <= {row["code"] for row in rows}
    assert all(row["words"] and row["status"] in "PCD" and "{" not in row["words"] for row in rows)


def test_rules_can_be_asked_without_a_case_and_then_were_found_nowhere(case: Path) -> None:
    rows, of_case = read("finds", "--rules"), read("finds", case, "--rules")
    assert [row["words"] for row in rows] == [row["words"] for row in of_case]
    assert {row["finds"] for row in rows} == {None}
    assert all(isinstance(row["finds"], int) for row in of_case)
    text = run("finds", "--rules").stdout
    assert " found)" not in text
    assert " found)" in run("finds", case, "--rules").stdout
    lower = run("finds", "--rules", "--set", "E13.below=55").stdout
    assert "below = 55 mmHg (the catalogue's 50 mmHg)" in lower


def test_finds_without_a_case_ask_for_one() -> None:
    result = run("finds")
    assert result.exit_code == 2
    assert "Missing argument 'CASE'" in result.stderr


def test_no_rule_says_twice_what_it_rests_on(case: Path) -> None:
    text = run("finds", case, "--rules").stdout
    for words in ("this project's choice", "common practice, no source"):
        assert f"{words}: {words}" not in text
        assert words in text


def test_no_value_that_json_has_no_place_for_gets_into_it() -> None:
    odd = {
        "a": float("nan"),
        "b": np.float32("inf"),
        "c": np.arange(2),
        "d": (np.int16(3), np.True_),
        "e": "ä ±",
    }
    assert json.loads(to_json(odd)) == {"a": None, "b": None, "c": [0, 1], "d": [3, True], "e": "ä ±"}
    assert plain([float("-inf")]) == [None]


def test_the_same_case_prints_the_same_document(case: Path) -> None:
    for command in ("channels", "clocks", "phases", "finds", "figures"):
        assert run(command, case, "--json").stdout == run(command, case, "--json").stdout


# --- for people ---------------------------------------------------------------------------------------


def test_tables_have_units_and_plus_minus(case: Path) -> None:
    assert "mmHg" in run("channels", case).stdout
    assert "±" in run("clocks", case).stdout
    assert "±" in run("phases", case).stdout
    figures = run("figures", case).stdout
    assert all(
        word in figures for word in ("of observed", "farthest", "longest", "left out", "masked", "missing")
    )
    assert "mm[Hg]" not in figures
    assert "confirm" in run("finds", case).stdout


def test_columns_of_a_table_are_aligned() -> None:
    text = table(("name", "n"), [("a", "1"), ("longer", "10"), ("°C ±", "100")], "<>")
    assert text.splitlines() == ["name      n", "a         1", "longer   10", "°C ±    100"]


def test_the_site_to_believe_can_be_named(case: Path) -> None:
    assert run("figures", case, "--believe", "femoral").exit_code == 0
    wrong = run("figures", case, "--believe", "left_ear")
    assert wrong.exit_code == 2
    one_sentence(wrong.stderr, "left_ear", "femoral")


def test_a_note_that_rows_share_stands_once(case: Path) -> None:
    notes = run("figures", case).stdout.partition("Notes:\n")[2].partition("\n\n")[0].splitlines()
    words = [line.strip().partition("  ")[2] for line in notes]
    assert len(words) == len(set(words)) > 0


def test_a_limit_set_can_be_named_or_given_as_a_file(case: Path, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(
        'name = "own"\nversion = "3"\n[[limit]]\nid = "map-on"\nmeasure = "mean_arterial_pressure"\n'
        'phase = "established"\nbelow = 59\nunit = "mm[Hg]"\nstatus = "U"\nsource = "our unit"\n'
    )
    rows = [row for row in read("figures", case, "--limits", own) if row["limit"] is not None]
    assert {row["limit_source"] for row in rows} == {"our unit"}
    found = read("finds", case, "--limits", own)
    assert any(row["code"] == "E13" for row in found)  # the pressure on bypass is 58
    assert not any(row["code"] == "E13" for row in read("finds", case))
    unknown = run("figures", case, "--limits", "nobody")
    assert unknown.exit_code == 2
    one_sentence(unknown.stderr, "nobody", "published")


# --- exit codes and sentences -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "arguments",
    [
        ("channels",),
        ("chanels", "x"),
        ("channels", "x", "--nothing"),
        ("bring-in", "x"),
        ("paper", "x", "--out", "paper.docx"),
        ("paper", "x"),
        ("export", "x"),
    ],
)
def test_wrong_use_ends_with_2_and_one_sentence(arguments: Sequence[str]) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    one_sentence(result.stderr, "--help")
    assert result.stdout == ""


@pytest.mark.parametrize(
    "arguments",
    [
        ("channels",),
        ("clocks",),
        ("figures",),
        ("phases",),
        ("finds",),
        ("check",),
        ("open",),
        ("paper", "--out", "p.html"),
        ("export", "--out", "o"),
    ],
)
def test_a_folder_that_is_no_case_ends_with_1_and_one_sentence(
    arguments: Sequence[str], tmp_path: Path
) -> None:
    (tmp_path / "empty").mkdir()
    result = run(arguments[0], tmp_path / "empty", *arguments[1:])
    assert result.exit_code == 1
    one_sentence(result.stderr, str(tmp_path / "empty"))
    assert result.stdout == ""


def test_a_newer_format_version_is_refused(copy: Path) -> None:
    with h5py.File(copy / "traces" / "pump.h5", "r+") as file:
        file.attrs["format_version"] = 99
    result = run("channels", copy)
    assert result.exit_code == 1
    one_sentence(result.stderr, "pump.h5", "99", "newer afterclamp")


def test_a_trace_file_that_points_elsewhere_is_refused(copy: Path) -> None:
    with h5py.File(copy / "traces" / "pump.h5", "r+") as file:
        del file["channels/flow/samples"]
        file["channels/flow/samples"] = h5py.ExternalLink("../../secret.h5", "/samples")
    result = run("channels", copy)
    assert result.exit_code == 1
    one_sentence(result.stderr, "pump.h5", "channels/flow/samples", "link")


@pytest.mark.parametrize(
    "arguments",
    [
        ("figures", "--limits", "nosuch"),
        ("finds", "--limits", "nosuch"),
        ("paper", "--out", "p.html", "--limits", "nosuch"),
        ("figures", "--believe", "nowhere"),
        ("paper", "--out", "p.html", "--believe", "nowhere"),
        ("finds", "--rules", "--held-back"),
        ("clocks", "--set", "pump"),
        ("clocks", "--set", "pump=abc"),
        ("clocks", "--set", "pump=1,fast"),
        ("clocks", "--set", "nosuch=3"),
        ("clocks", "--set", "monitor=3"),
        ("clocks", "--set", "pump=99999999999"),
        ("clocks", "--set", "pump=3,99999"),
        ("clocks", "--set", "pump=3", "--within", "-1"),
        ("clocks", "--set", "pump=3", "--within", "nan"),
        ("clocks", "--set", "pump=3", "--author", "../../evil"),
        ("clocks", "--propose", "--author", ""),
    ],
)
def test_what_no_case_can_make_good_ends_with_2(copy: Path, arguments: Sequence[str]) -> None:
    before = {path: path.read_bytes() for path in (copy / "log").iterdir()}
    result = run(arguments[0], copy, *arguments[1:])
    assert result.exit_code == 2, result.stderr
    one_sentence(result.stderr, "--help")
    assert {path: path.read_bytes() for path in (copy / "log").iterdir()} == before


def test_a_site_that_is_not_there_is_answered_with_the_arterial_sites_alone(copy: Path) -> None:
    result = run("figures", copy, "--believe", "nowhere")
    assert "there are: femoral (monitor/fem)" in result.stderr
    assert "flow" not in result.stderr
    pump = run("figures", copy, "--believe", "pump_flow")
    assert pump.exit_code == 2
    assert "there are: femoral (monitor/fem)" in pump.stderr


def test_a_case_of_one_source_has_no_clock_to_set(tmp_path: Path) -> None:
    assert run("bring-in", edf(tmp_path / "monitor.edf"), "--into", tmp_path / "case").exit_code == 0
    for typed in ("monitor=3", "pump=3"):
        result = run("clocks", tmp_path / "case", "--set", typed)
        assert result.exit_code == 2
        one_sentence(result.stderr, "there is no clock to set")


def read_only(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything below a folder is read as ever, and whatever would change it is refused as the system does."""

    def guard(module: Any, name: str, places: Sequence[int], reads: Callable[..., bool]) -> None:
        own = getattr(module, name)

        def call(*arguments: Any, **more: Any) -> Any:
            for place in places:
                told = arguments[place] if place < len(arguments) else None
                if isinstance(told, (str, os.PathLike)) and not reads(*arguments, **more):
                    path = Path(told).absolute()
                    if folder in (path, *path.parents):
                        raise OSError(errno.EROFS, os.strerror(errno.EROFS), str(told))
            return own(*arguments, **more)

        monkeypatch.setattr(module, name, call)

    def opens_to_read(_file: Any, mode: str = "r", *_arguments: Any, **_more: Any) -> bool:
        return not set(mode) & set("wax+")

    def never(*_arguments: Any, **_more: Any) -> bool:
        return False

    for module in (builtins, io):
        guard(module, "open", (0,), opens_to_read)
    guard(
        os, "open", (0,), lambda _path, flags, *_, **__: flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) == 0
    )
    for name in ("mkdir", "unlink", "remove", "rmdir"):
        guard(os, name, (0,), never)
    for name in ("rename", "replace", "link"):
        guard(os, name, (0, 1), never)


@pytest.mark.parametrize(
    "arguments",
    [
        ("channels",),
        ("clocks",),
        ("figures",),
        ("phases",),
        ("finds",),
        ("finds", "--held-back"),
        ("check",),
        ("export", "--out", "{out}/tables"),
        ("export", "--out", "{out}/samples", "--as", "samples"),
        ("paper", "--out", "{out}/p.html"),
    ],
)
@pytest.mark.parametrize("cached", [False, True])
def test_a_case_on_a_read_only_place_can_be_read(
    copy: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: Sequence[str],
    cached: bool,
    qapp: Any,
) -> None:
    shutil.rmtree(copy / "cache", ignore_errors=True)
    if cached:
        (copy / "cache").mkdir()
    (tmp_path / "out").mkdir()
    with monkeypatch.context() as closed:
        read_only(copy, closed)
        with pytest.raises(OSError, match="Read-only"):
            (copy / "log" / "new.jsonl").write_text("")
        told = [argument.format(out=tmp_path / "out") for argument in arguments]
        result = run(told[0], copy, *told[1:])
    assert result.exit_code == 0, result.stderr
    assert result.stdout


@pytest.mark.parametrize(
    "command", ["channels", "clocks", "figures", "finds", "flushes", "limits", "masks", "phases", "quality"]
)
def test_lines_of_the_log_that_cannot_be_used_are_told_in_one_line(copy: Path, command: str) -> None:
    with (copy / "log" / "tester.jsonl").open("a") as log:
        log.write('{"id": "tester-9", "n"')
    result = run(command, copy, "--json")
    assert result.exit_code == 0
    json.loads(result.stdout)
    assert result.stderr == f"1 line of the log could not be used. See: afterclamp check {copy}\n"


def test_a_page_into_a_folder_that_is_not_there_says_so(case: Path, tmp_path: Path, qapp: Any) -> None:
    result = run("paper", case, "--out", tmp_path / "none" / "dir" / "p.html")
    assert result.exit_code == 1
    one_sentence(
        result.stderr.splitlines(keepends=True)[-1], f"the folder {tmp_path / 'none' / 'dir'} is not there"
    )
    assert "Make room" not in result.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
@pytest.mark.parametrize("arguments", [("channels",), ("finds", "--json")])
def test_an_output_that_is_full_is_named_as_the_output(case: Path, arguments: Sequence[str]) -> None:
    code = "import sys\nfrom afterclamp.replay.commands import run\nrun(sys.argv[1:])"
    with Path("/dev/full").open("w") as full:
        ran = subprocess.run(
            [sys.executable, "-c", code, arguments[0], str(case), *arguments[1:]],
            stdout=full,
            stderr=subprocess.PIPE,
            timeout=120,
            check=False,
        )
    assert ran.returncode == 1
    one_sentence(ran.stderr.decode(), "the output could not be written")


# --- bring-in -----------------------------------------------------------------------------------------


def edf(path: Path, unit: str = "mmHg") -> Path:
    """A minute of pressure as EDF, by another library."""
    import edfio

    t = np.arange(6000) / 100
    signal = edfio.EdfSignal(
        80 + 20 * np.sin(2 * np.pi * t), 100, label="FEM", physical_dimension=unit, physical_range=(-50, 300)
    )
    edfio.Edf([signal]).write(path)
    return path


def nothing_left(folder: Path, *kept: str) -> None:
    assert sorted(path.name for path in folder.iterdir()) == sorted(kept)


def test_bring_in_tells_what_was_kept_out_by_place_and_kind_and_never_what(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"  # invented persons
    log.write_text("time,text\n08:01,Dr Keller called\n08:02,born 3.4.1961\n08:03,patient Kowalczyk cooled\n")
    found: list[Found] = []
    bring_in(log, tmp_path / "before", listed=found.extend).close()
    assert {(one.place, one.kind) for one in found} >= {("note", "name"), ("note", "date of birth")}
    result = run("bring-in", log, "--into", tmp_path / "case")
    assert result.exit_code == 0, result.stderr
    told = result.stdout.partition("  kept out:\n")[2]
    assert re.search(r"^    note: 1 date of birth, \d names?$", told, re.MULTILINE), result.stdout
    assert not any(one.text in result.stdout for one in found)
    kept = run("bring-in", log, "--into", tmp_path / "kept", "--keep-identity")
    assert "  kept out:" not in kept.stdout
    assert "  kept as chosen" in kept.stdout
    assert "Keller" not in kept.stdout


def test_what_may_be_a_name_is_told_as_left_for_a_person_to_look_at() -> None:
    sure, doubtful = Found("name", "Keller", 0, 6, place="note"), Found("name", "Rose", 0, 4, False, "note")
    assert summary([sure, doubtful, doubtful]) == [
        "  kept out:",
        "    note: 1 name",
        "  left for a person to look at, it may say who somebody is:",
        "    note: 2 names",
    ]
    header = Found("name", "Anna", 0, 4, place="header")  # no reader takes it over, whatever was chosen
    assert summary([header], keep_identity=True) == ["  kept out:", "    header: 1 name"]


def test_bringing_in_says_what_it_made(tmp_path: Path) -> None:
    result = run("bring-in", edf(tmp_path / "monitor.edf"), "--into", tmp_path / "case")
    assert result.exit_code == 0, result.stderr
    assert "1 source, 1 channel, 0 notes" in result.stdout
    assert [row["name"] for row in read("channels", tmp_path / "case")] == ["femoral"]


def test_an_open_question_ends_with_3_the_list_and_nothing_written(tmp_path: Path) -> None:
    source = edf(tmp_path / "monitor.edf", unit="zorkmid")
    result = run("bring-in", source, "--into", tmp_path / "case")
    assert result.exit_code == 3
    assert "unit:" in result.stderr
    assert "zorkmid" in result.stderr
    assert "--accept-proposals" in result.stderr
    assert result.stdout == ""
    nothing_left(tmp_path, "monitor.edf")
    accepted = run("bring-in", source, "--into", tmp_path / "case", "--accept-proposals")
    assert accepted.exit_code == 0, accepted.stderr
    (channel,) = read("channels", tmp_path / "case")
    assert channel["unit_as_written"] == "zorkmid"


def test_answers_answer_the_questions(tmp_path: Path) -> None:
    source = edf(tmp_path / "monitor.edf", unit="zorkmid")
    asked = run("bring-in", source, "--into", tmp_path / "case")
    key = re.search(r"\[unit:([^\]]+)\]", asked.stderr)
    assert key is not None
    (tmp_path / "answers.toml").write_text(f'[units]\n"{key[1]}" = "mm[Hg]"\n')
    result = run("bring-in", source, "--into", tmp_path / "case", "--answers", tmp_path / "answers.toml")
    assert result.exit_code == 0, result.stderr
    (channel,) = read("channels", tmp_path / "case")
    assert (channel["unit"], channel["unit_as_written"]) == ("mm[Hg]", "zorkmid")


def lying_edf(folder: Path) -> Path:
    path = edf(folder / "lying.edf")
    data = bytearray(path.read_bytes())
    data[236:244] = b"9999    "  # number of data records
    path.write_bytes(data)
    return path


def cut_edf(folder: Path) -> Path:
    path = edf(folder / "cut.edf")
    path.write_bytes(path.read_bytes()[:5000])
    return path


def empty(folder: Path) -> Path:
    (folder / "empty.csv").touch()
    return folder / "empty.csv"


def headless_wfdb(folder: Path) -> Path:
    (folder / "rec.hea").write_text("rec 1 100 1000\nrec.dat 16 10/mmHg 16 0 0 0 0 ABP\n")
    return folder / "rec.hea"


def text_in_numbers(folder: Path) -> Path:
    rows = "".join(f"{i},4.{i % 10}\n" for i in range(20))
    (folder / "pump.csv").write_text(f"time (s),flow (L/min)\n{rows}20,see note\n21,4.1\n")
    return folder / "pump.csv"


def times_in_disorder(folder: Path) -> Path:
    order = np.random.default_rng(3).permutation(200)
    rows = "".join(f"{i},4.0\n" for i in order)
    (folder / "pump.csv").write_text(f"time (s),flow (L/min)\n{rows}")
    return folder / "pump.csv"


def unreadable_folder(folder: Path) -> Path:
    (folder / "photos").mkdir()
    (folder / "photos" / "heart.jpg").write_bytes(b"\xff\xd8\xff\xe0" + bytes(range(256)) * 4)
    return folder / "photos"


def not_there(folder: Path) -> Path:
    return folder / "nobody.edf"


@pytest.mark.parametrize(
    "make",
    [
        lying_edf,
        cut_edf,
        empty,
        headless_wfdb,
        text_in_numbers,
        times_in_disorder,
        unreadable_folder,
        not_there,
    ],
)
def test_a_file_that_cannot_be_read_gives_one_sentence_and_leaves_nothing(make: Any, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "out").mkdir()
    source = make(tmp_path / "in")
    result = run("bring-in", source, "--into", tmp_path / "out" / "case")
    last = result.stderr.splitlines(keepends=True)[-1]
    assert result.exit_code == 1, result.stderr
    one_sentence(last, source.stem)
    assert result.stdout == ""
    nothing_left(tmp_path / "out")


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EACCES])
def test_a_full_or_closed_disk_leaves_nothing(
    code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*arguments: Any, **more: Any) -> None:
        raise OSError(code, os.strerror(code), str(tmp_path))

    source = edf(tmp_path / "monitor.edf")
    monkeypatch.setattr(casefile, "write", refuse)
    result = run("bring-in", source, "--into", tmp_path / "case")
    assert result.exit_code == 1
    one_sentence(result.stderr.splitlines(keepends=True)[-1], "case", os.strerror(code))
    nothing_left(tmp_path, "monitor.edf")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit on the size of a process's files")
@pytest.mark.parametrize(
    "arguments", [("bring-in", "{source}", "--into", "{out}"), ("export", "{case}", "--out", "{out}")]
)
def test_a_limit_on_file_size_leaves_nothing(arguments: Sequence[str], case: Path, tmp_path: Path) -> None:
    source = edf(tmp_path / "monitor.edf")
    places = {"source": source, "case": case, "out": tmp_path / "new"}
    limit = (
        "import resource, signal, sys\n"
        "sys.dont_write_bytecode = True\n"  # a compiled module cut at the limit would stay behind, for everybody
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))"
    )
    result = process(*(argument.format(**places) for argument in arguments), before=limit)
    assert result.returncode == 1, result.stderr
    one_sentence(result.stderr.decode().splitlines(keepends=True)[-1], "new")
    nothing_left(tmp_path, "monitor.edf")


def test_ctrl_c_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*arguments: Any, **more: Any) -> None:
        raise KeyboardInterrupt

    source = edf(tmp_path / "monitor.edf")
    monkeypatch.setattr(casefile, "write", interrupt)
    result = run("bring-in", source, "--into", tmp_path / "case")
    assert result.exit_code == 130
    one_sentence(result.stderr.splitlines(keepends=True)[-1], "Stopped")
    nothing_left(tmp_path, "monitor.edf")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows ends a process without asking it")
def test_a_process_told_to_end_leaves_nothing(tmp_path: Path) -> None:
    source = edf(tmp_path / "monitor.edf")
    # While the first file is half written the process is told to end, twice: the second is no reason to leave things.
    told = (
        "import os, signal, time\n"
        "from afterclamp.io import casefile\n"
        "own = casefile._write_root\n"
        "def half(*arguments):\n"
        "    own(*arguments)\n"
        "    for _ in range(2):\n"
        "        os.kill(os.getpid(), signal.SIGTERM)\n"
        "        time.sleep(0.2)\n"
        "casefile._write_root = half"
    )
    result = process("bring-in", source, "--into", tmp_path / "case", before=told)
    assert result.returncode == 143, result.stderr
    one_sentence(result.stderr.decode().splitlines(keepends=True)[-1], "Stopped")
    nothing_left(tmp_path, "monitor.edf")


def test_a_link_that_leads_nowhere_is_said_to_be_one(tmp_path: Path) -> None:
    (tmp_path / "pump.csv").symlink_to(tmp_path / "gone.csv")
    result = run("bring-in", tmp_path / "pump.csv", "--into", tmp_path / "case")
    assert result.exit_code == 1
    one_sentence(result.stderr, "pump.csv", "is a link to a file that is not there")


# --- check, export ------------------------------------------------------------------------------------


def test_a_whole_case_passes_its_check(case: Path) -> None:
    result = run("check", case)
    assert result.exit_code == 0, result.stderr
    assert all(row["ok"] for row in read("check", case))


def test_a_changed_sample_is_seen(copy: Path) -> None:
    with h5py.File(copy / "traces" / "pump.h5", "r+") as file:
        samples = file["channels/flow/samples"]
        samples[700] = 9.5
    result = run("check", copy)
    assert result.exit_code == 1
    assert "LOOK" in result.stdout
    assert "channel flow" in result.stdout
    one_sentence(result.stderr, str(copy))


def test_a_changed_line_of_the_log_is_seen(copy: Path) -> None:
    log = copy / "log" / "tester.jsonl"
    log.write_text(log.read_text().replace('"offset_s": 40.0', '"offset_s": 41.0'))
    result = run("check", copy)
    assert result.exit_code == 1
    assert "tester.jsonl, line 3" in result.stdout


def test_a_source_that_went_missing_is_seen(copy: Path) -> None:
    (copy / "traces" / "pump.h5").unlink()
    result = run("check", copy)
    assert result.exit_code == 1
    assert "speaks of pump, which is not there" in result.stdout


def test_an_export_holds_tables_with_units_and_the_note(case: Path, tmp_path: Path) -> None:
    result = run("export", case, "--out", tmp_path / "out")
    assert result.exit_code == 0, result.stderr
    written = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"traces-1hz.csv", "finds.csv", "phases.csv", "marks.csv", "figures.csv", "NOTE.txt"} <= written
    assert result.stdout.split("\n")[:-1] == [
        str(tmp_path / "out" / Path(line).name) for line in result.stdout.split()
    ]
    note = (tmp_path / "out" / "NOTE.txt").read_text("utf-8")
    assert note.startswith(
        "Retrospective reconstruction for debrief, teaching or research. Not a medical device;"
    )
    raw = (tmp_path / "out" / "traces-1hz.csv").read_bytes()
    assert raw.count(b"\r\n") == raw.count(b"\n") == small_case.LENGTH_S + 1  # RFC 4180 line ends
    rows = list(csv.reader(raw.decode("utf-8").splitlines()))
    assert rows[0] == ["time [s]", "monitor/fem femoral [mm[Hg]]", "pump/flow pump_flow [L/min]"]
    assert float(rows[1 + 600][2]) == pytest.approx(4.4, abs=0.01)
    assert len({len(row) for row in rows}) == 1
    with (tmp_path / "out" / "marks.csv").open(encoding="utf-8", newline="") as file:
        (mark,) = csv.DictReader(file)
    assert (mark["text"], mark["start [s]"]) == ("table <raised>", "600")
    assert not re.search(r"20\d\d-\d\d-\d\d", (tmp_path / "out" / "phases.csv").read_text() + rows[0][0])


def test_an_export_into_a_folder_that_holds_something_is_refused(case: Path, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    result = run("export", case, "--out", tmp_path)
    assert result.exit_code == 1
    one_sentence(result.stderr.splitlines(keepends=True)[-1], str(tmp_path))
    nothing_left(tmp_path, "mine.txt")


def test_the_paper_is_written_where_asked(case: Path, tmp_path: Path, qapp: Any) -> None:
    for name, start in (("p.html", b"<!DOCTYPE html>"), ("p.pdf", b"%PDF-")):
        result = run("paper", case, "--out", tmp_path / name)
        assert result.exit_code == 0, result.stderr
        assert (tmp_path / name).read_bytes().startswith(start)


# --- the demonstration and the window -----------------------------------------------------------------


def test_a_finished_demonstration_is_used_again(case: Path, tmp_path: Path) -> None:
    (tmp_path / "demo").mkdir()
    shutil.copytree(case, tmp_path / "demo" / demo.CASE)
    before = {path: path.stat().st_mtime_ns for path in (tmp_path / "demo").rglob("*.h5")}
    assert demo.make_demo(tmp_path / "demo") == tmp_path / "demo" / demo.CASE
    assert {path: path.stat().st_mtime_ns for path in (tmp_path / "demo").rglob("*.h5")} == before


def test_without_a_window_the_demonstration_writes_the_paper(case: Path, tmp_path: Path, qapp: Any) -> None:
    (tmp_path / "demo").mkdir()
    shutil.copytree(case, tmp_path / "demo" / demo.CASE)
    result = run("demo", "--into", tmp_path / "demo", "--no-window")
    assert result.exit_code == 0, result.stderr
    assert "The case paper is written instead." in result.stderr
    assert (tmp_path / "demo" / "case-paper.html").exists()
    assert (tmp_path / "demo" / "case-paper.pdf").exists()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux may have no display")
def test_a_machine_without_a_display_says_so(case: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    assert "no display" in window.why_no_window()
    result = run("open", case)
    assert result.exit_code == 1
    one_sentence(result.stderr, "no display", "afterclamp paper")
    monkeypatch.setenv("QT_QPA_PLATFORM", "offscreen")
    assert window.why_no_window() == ""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux may have no display")
def test_a_display_that_does_not_answer_is_no_display(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("QT_QPA_PLATFORM", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setenv("DISPLAY", ":4711")
    assert window.why_no_window() != ""


@pytest.mark.parametrize(
    ("message", "library", "package"),
    [
        ("libGL.so.1: cannot open shared object file: No such file or directory", "libGL.so.1", "libgl1"),
        ("libEGL.so.1: cannot open shared object file: No such file or directory", "libEGL.so.1", "libegl1"),
    ],
)
def test_a_missing_system_library_is_named_with_its_package(
    message: str, library: str, package: str, case: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    sentence = window.missing_library(ImportError(message)).sentence
    assert library in sentence
    assert f"apt-get install --no-install-recommends {package}" in sentence

    def broken() -> None:
        raise window.missing_library(ImportError(message))

    monkeypatch.setattr(window, "drawing_ready", broken)
    result = run("paper", case, "--out", tmp_path / "p.pdf")
    assert result.exit_code == 1
    one_sentence(result.stderr, library, package)
    nothing_left(tmp_path)


# --- as a process -------------------------------------------------------------------------------------

LOADED = """
import json, sys
from afterclamp.replay.commands import run
names = ("PySide6", "pyqtgraph", "jinja2", "scipy", "pandas", "wfdb", "edfio", "matplotlib")
for command in json.loads(sys.argv[1]):
    try:
        run(command)
    except SystemExit as ended:
        code = ended.code or 0
    else:
        code = 0
    print("LOADED", code, *[name for name in names if name in sys.modules], file=sys.stderr)
"""


def test_reading_commands_start_without_qt(case: Path) -> None:
    # One after another in one process: what a command may load, those after it may load too.
    allowed = {
        ("channels", "--json"): set(),
        ("check",): set(),
        ("finds",): {"scipy"},
        ("figures",): {"scipy"},
    }
    commands = [[name, str(case), *more] for name, *more in allowed]
    result = subprocess.run(
        [sys.executable, "-c", LOADED, json.dumps(commands)], capture_output=True, text=True, check=False
    )
    assert result.returncode == 0, result.stderr
    told = [line.split()[1:] for line in result.stderr.splitlines() if line.startswith("LOADED")]
    assert [code for code, *_ in told] == ["0"] * len(allowed), result.stderr
    for (command, may), (_, *loaded) in zip(allowed.items(), told, strict=True):
        assert set(loaded) <= may, command


def test_output_is_utf8_wherever_it_runs(case: Path) -> None:
    result = process("clocks", case, environment={"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"})
    assert result.returncode == 0, result.stderr
    assert "±" in result.stdout.decode("utf-8")


@pytest.mark.skipif(sys.platform == "win32", reason="pipes break differently on Windows")
def test_a_reader_that_leaves_is_no_complaint(case: Path) -> None:
    code = "import sys, time; time.sleep(0.3); from afterclamp.replay.commands import run; run(sys.argv[1:])"
    child = subprocess.Popen(
        [sys.executable, "-c", code, "finds", str(case), "--rules"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert child.stdout is not None
    assert child.stderr is not None
    child.stdout.close()
    said = child.stderr.read()
    child.stderr.close()
    assert child.wait(timeout=60) == 0
    assert said == b""


def test_python_m_is_the_same_command(case: Path) -> None:
    result = subprocess.run(
        [sys.executable, "-m", "afterclamp.replay", "channels", str(case)], capture_output=True, check=False
    )
    assert result.returncode == 0, result.stderr
    assert result.stdout.decode() == run("channels", case).stdout


def test_a_sentence_ends_a_case_error() -> None:
    assert CaseError("is wrong", path="a.csv", place="line 3", todo="Mend it").sentence == (
        "a.csv, line 3: is wrong. Mend it."
    )


def test_several_column_maps_each_serve_the_files_they_name(tmp_path: Path) -> None:
    for name, unit in (("one", "mmHg"), ("two", "kPa")):
        (tmp_path / f"{name}.csv").write_text(
            "time [s],p\n" + "".join(f"{k},{70 + k % 3}\n" for k in range(60)), "utf-8"
        )
        (tmp_path / f"{name}.toml").write_text(
            f'[match]\nname = "{name}.csv"\n[[channel]]\ncolumn = "p"\nunit = "{unit}"\nkind = "line_pressure"\n',
            "utf-8",
        )
    outcome = run(
        "bring-in",
        *(str(tmp_path / f"{name}.csv") for name in ("one", "two")),
        "--into",
        str(tmp_path / "case"),
        *(
            "--columns",
            str(tmp_path / "one.toml"),
            "--columns",
            str(tmp_path / "two.toml"),
            "--accept-proposals",
        ),
    )
    assert outcome.exit_code == 0, outcome.output
    with open_case(tmp_path / "case") as case:
        assert [(one.source, one.unit_as_written) for one in case.channels] == [
            ("one", "mmHg"),
            ("two", "kPa"),
        ]
