"""Quality as tables and in print: every second once, with its class, its reason and who said so.

Names of the tables are those of the project's description of its export tables (``quality``, ``channels``). What was
laid into the small case stands in `small_case`: the femoral line open to air from 120 to 140 s of 1200. Where an
artefact begins is known to a second.
"""

from __future__ import annotations

import csv
import json
import re
import shutil
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import small_case
from afterclamp.annotate.quality import ARTEFACT, GOOD, NOT_JUDGED, NOTHING, quality_class
from afterclamp.annotate.quality_spans import class_seconds, quality_spans
from afterclamp.io import Case, open_case
from afterclamp.io.masks import mask
from afterclamp.io.recording import Segment
from afterclamp.replay.commands import main
from afterclamp.replay.export import export_tables
from afterclamp.replay.quality_rows import case_id
from click.testing import CliRunner
from recordings import case_of, even, recording

QUALITY = ["case_id", "channel_id", "t0_s", "t1_s", "qclass", "acode", "origin", "rater_id"]
CHANNELS = [
    "case_id", "channel_id", "source_id", "kind", "site", "side", "unit_ucum", "nominal_hz", "t0_s", "t1_s",
    "missing_pct", "q0_pct", "q1_pct", "q2_pct", "q3_pct", "believed_s",
]  # fmt: skip
FEM = "monitor/fem"
SECOND = pytest.approx(small_case.OPEN_S[0], abs=1)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return small_case.make(tmp_path / "small")


def spans(case: Case, name: str = FEM) -> list[tuple[float, float, int, str, str, str]]:
    found = quality_spans(case[name], case.grid)
    return [(one.start_s, one.end_s, one.qclass, one.acode, one.origin, one.rater) for one in found]


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# -- stretches -------------------------------------------------------------------------------------


def test_every_second_stands_once_with_its_class_and_code(folder: Path) -> None:
    with open_case(folder) as case:
        assert spans(case) == [
            (0, SECOND, GOOD, "", "rule", ""),
            (SECOND, 140, ARTEFACT, "A1", "rule", ""),
            (140, 1200, GOOD, "", "rule", ""),
        ]
        [reason] = [one.reason for one in quality_spans(case[FEM], case.grid) if one.acode]
        assert reason == "line open to air"
        for channel in case.channels:
            found = quality_spans(channel, case.grid)
            edges = [one.start_s for one in found] + [found[-1].end_s]
            assert edges == sorted(set(edges))
            assert all(a.end_s == b.start_s for a, b in pairwise(found))
            assert sum(class_seconds(found).values()) == case.grid.size
            each = np.concatenate([np.full(int(one.duration_s), one.qclass) for one in found])
            assert (each == quality_class(channel, case.grid)).all()


def test_what_people_hide_and_believe_is_theirs(folder: Path) -> None:
    with open_case(folder) as case:
        mask(case, "mara", "hide", FEM, 600, 630, "cannula moved")
        mask(case, "ida", "unhide", FEM, 130, 140, "true pressure")
        assert spans(case) == [
            (0, SECOND, GOOD, "", "rule", ""),
            (SECOND, 130, ARTEFACT, "A1", "rule", ""),
            (130, 140, GOOD, "", "human", "ida"),
            (140, 600, GOOD, "", "rule", ""),
            (600, 630, ARTEFACT, "", "human", "mara"),
            (630, 1200, GOOD, "", "rule", ""),
        ]
        said = {one.rater: one.reason for one in quality_spans(case[FEM], case.grid) if one.rater}
        assert "cannula moved" in said["mara"]
        assert "true pressure" in said["ida"]


def test_what_is_not_there_and_what_nobody_knows_have_classes_of_their_own(tmp_path: Path) -> None:
    values = np.round(60 + np.random.default_rng(1).standard_normal(300), 1).astype("f4")
    there = np.ones(300, bool)
    there[100:150] = False
    unknown = even("XYZ", values, [Segment(0.0, 0, 300, 1.0)], unit="", valid=there)
    with case_of(tmp_path / "case", recording("box", [unknown])) as case:
        found = quality_spans(case.channels[0], case.grid)
        seconds = class_seconds(found)
        # A slow value is held for three intervals at the most before it is missing.
        assert 46 <= seconds[NOTHING] <= 50
        assert seconds[NOT_JUDGED] == 300 - seconds[NOTHING]
        assert all(one.reason for one in found if one.qclass == NOTHING)
        assert quality_spans(case.channels[0], np.empty(0)) == []


# -- tables ----------------------------------------------------------------------------------------


def test_the_tables_have_the_names_of_the_description_first(folder: Path, tmp_path: Path) -> None:
    with open_case(folder) as case:
        export_tables(case, tmp_path / "out")
    for name, names in (("quality.csv", QUALITY), ("channels.csv", CHANNELS)):
        raw = (tmp_path / "out" / name).read_bytes()
        heading = raw.decode("utf-8").split("\r\n")[0].split(",")
        assert heading[: len(names)] == names
        assert raw.count(b"\n") == raw.count(b"\r\n")  # RFC 4180
        assert not re.search(rb"20\d\d-\d\d-\d\d", raw)


def test_percentages_are_of_the_seconds_that_stand_beside_them(folder: Path, tmp_path: Path) -> None:
    with open_case(folder) as case:
        mask(case, "mara", "hide", FEM, 600, 630)
        export_tables(case, tmp_path / "out")
    rows = {row["channel_id"]: row for row in table(tmp_path / "out" / "channels.csv")}
    fem = rows[FEM]
    # 20 s open to air and 30 s hidden of 1200, by hand.
    assert float(fem["q3_pct"]) == pytest.approx(100 * 50 / 1200, abs=0.09)  # a second is 0.083 %
    assert float(fem["q0_pct"]) == pytest.approx(100 * 1150 / 1200, abs=0.09)
    assert (fem["of_s"], fem["nominal_hz"], fem["site"], fem["unit_ucum"]) == (
        "1200",
        "100",
        "femoral",
        "mm[Hg]",
    )
    parts = ("missing_pct", "q0_pct", "q1_pct", "q2_pct", "q3_pct", "q9_pct")
    for row in rows.values():
        assert sum(float(row[name]) for name in parts) == pytest.approx(100, abs=0.01)
    assert 0 < float(fem["believed_s"]) <= 1200
    assert float(rows["pump/flow"]["believed_s"]) == 0
    quality = [row for row in table(tmp_path / "out" / "quality.csv") if row["channel_id"] == FEM]
    hidden = [row for row in quality if row["origin"] == "human"]
    assert [(row["t0_s"], row["t1_s"], row["qclass"], row["rater_id"]) for row in hidden] == [
        ("600", "630", "Q3", "mara")
    ]
    note = (tmp_path / "out" / "NOTE.txt").read_text("utf-8")
    assert "of_s" in note


def test_a_case_is_known_by_its_files_and_by_no_name(folder: Path, tmp_path: Path) -> None:
    with open_case(folder) as case:
        first = case_id(case)
        case.edit("mara", "mark", {**_mark(), "id": "mara-m1"})
        assert case_id(case) == first
    other = tmp_path / "Somebody, Born Somewhere"
    shutil.copytree(folder, other)
    with open_case(other) as case:
        assert case_id(case) == first
        export_tables(case, tmp_path / "out")
    assert all("Somebody" not in path.read_text("utf-8") for path in (tmp_path / "out").iterdir())


def _mark() -> dict[str, Any]:
    return {
        "kind": "point", "code": "", "text": "x", "start_s": 10.0, "end_s": 10.0, "confidence": 50, "channels": [],
        "anchor": None,
    }  # fmt: skip


# -- print -----------------------------------------------------------------------------------------


def test_the_command_prints_the_seconds_of_each_class_with_the_reason(folder: Path) -> None:
    result = CliRunner().invoke(main, ["quality", str(folder)])
    assert result.exit_code == 0, result.stderr
    lines = [" ".join(line.split()) for line in result.stdout.splitlines()]
    [good] = [line for line in lines if line.startswith("femoral Q0 good")]
    assert re.fullmatch(r"femoral Q0 good (1179|1180) s of 1200 s 98\.[23] %", good)
    assert {"20 s A1 line open to air", "21 s A1 line open to air"} & set(lines)


def test_the_json_holds_the_same_and_every_stretch(folder: Path) -> None:
    with open_case(folder) as case:
        mask(case, "mara", "hide", FEM, 600, 630, "cannula moved")
    result = CliRunner().invoke(main, ["quality", str(folder), "--json"])
    assert result.exit_code == 0, result.stderr
    rows = {row["channel_id"]: row for row in json.loads(result.stdout)}
    fem = rows[FEM]
    assert (fem["q0_s"], fem["q3_s"], fem["of_s"]) == (
        pytest.approx(1150, abs=1),
        pytest.approx(50, abs=1),
        1200,
    )
    assert [(one["acode"], one["seconds"], one["rater_id"]) for one in fem["reasons"]] == [
        ("A1", pytest.approx(20, abs=1), ""),
        ("", 30, "mara"),
    ]
    assert set(QUALITY) - {"case_id"} <= set(fem["spans"][0])
    assert sum(one["t1_s"] - one["t0_s"] for one in fem["spans"]) == small_case.LENGTH_S


def test_a_case_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["quality", str(tmp_path / "none")])
    assert result.exit_code == 1
    assert str(tmp_path / "none") in result.stderr


def test_the_height_shift_of_the_invented_case_stands_at_a_wrong_level(demo_case: Case) -> None:
    # Its truth table: 326:00 to 327:30 on five pressures.
    for name in ("left_radial", "right_radial", "femoral", "cvp", "pa"):
        [found] = [one for one in quality_spans(demo_case[name], demo_case.grid) if one.acode == "A7"]
        assert (found.start_s, found.end_s) == (pytest.approx(19_560, abs=5), pytest.approx(19_650, abs=5))
        assert (found.qclass, found.reason) == (2, "transducer height shift")
