"""The preview of a table: what it says of files that can be read, and of those that cannot."""

from __future__ import annotations

import subprocess
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from afterclamp.io.errors import FileUnreadable
from afterclamp.io.readers.column_map import ColumnMap
from afterclamp.io.readers.delimited import READER
from afterclamp.io.readers.preview import preview


def _write(folder: Path, text: str | bytes, name: str = "pump.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def _told(**tables: Any) -> ColumnMap:
    return ColumnMap.model_validate(tables)


PUMP = "time;pump flow (l/min);line pressure (mmHg);Art Rad L [kPa];alarm\n" + "".join(
    f"07:42:{n:02d};4,{n:02d};{120 + n};9,{n % 10};text\n" for n in range(60)
)


def test_what_is_seen_of_a_table(tmp_path: Path) -> None:
    seen = preview(_write(tmp_path, "Export of one case\n" + PUMP), rows=3)
    assert (seen.separator, seen.decimal, seen.encoding) == ("semicolon", ",", "utf-8")
    assert (seen.above, len(seen.header), seen.rows) == (1, 1, 60)
    assert [column.role for column in seen.columns] == ["time", "channel", "channel", "channel", "left out"]
    assert [column.number for column in seen.columns] == [1, 2, 3, 4, 5]
    flow, line, radial = seen.columns[1:4]
    assert (flow.header, flow.label) == ("pump flow (l/min)", "pump flow")
    assert (flow.unit_as_written, flow.unit, flow.identity.name) == ("l/min", "L/min", "pump_flow")
    assert (radial.unit, radial.identity.name) == ("kPa", "left_radial")
    assert [(cell.written, cell.value) for cell in flow.cells] == [
        ("4,00", 4),
        ("4,01", 4.01),
        ("4,02", 4.02),
    ]
    assert [cell.value for cell in line.cells] == [120, 121, 122]
    assert seen.times is not None
    assert (seen.times.kind, seen.times.interval_s, seen.times.even) == ("clock", 1.0, True)
    assert (seen.times.first_written, seen.times.last_written) == ("07:42:00", "07:42:59")
    assert (seen.times.first, seen.times.duration_s) == (datetime(2000, 1, 1, 7, 42), 59.0)
    assert seen.errors == ()
    assert any("alarm: a column of text" in line for line in seen.warnings)


def test_a_choice_changes_what_is_seen(tmp_path: Path) -> None:
    path = _write(tmp_path, PUMP)
    seen = preview(
        path, _told(channel=[{"column": "line pressure", "unit": "kPa", "kind": "line_pressure"}]), 2
    )
    assert [column.role for column in seen.columns] == ["time", "left out", "channel", "left out", "left out"]
    line = seen.columns[2]
    assert (line.unit_as_written, line.unit, line.told, line.identity.kind) == (
        "kPa",
        "kPa",
        True,
        "line_pressure",
    )
    wrong = preview(path, _told(file={"separator": "comma"}), 2)
    assert wrong.errors
    assert wrong.separator == "comma"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"", "the file is empty"),
        (b"\x00\x01\x02\x03" * 40, "not a text file"),
        ("time,flow\n", "a header but no row"),
        ("0,4.4\n1,4.4\n2,4.4\n", "the table has no header"),
        ("flow [L/min],HR [bpm]\n4.4,70\n4.4,71\n", "no column holds times"),
        ("time,flow [L/min]\n0,4.4\n1,4.4\n", "nothing says whether they are seconds"),
        ("time [s],flow\n0,4.4\n1,low\n", "line 3, column flow: found 'low'"),
        ("time [s],flow,HR\n0,4.4,70\n1,4.4\n2,4.4,71\n", "line 3: found 2 columns; expected 3"),
        ("time,flow\n07:42:00,4.4\nlater,4.4\n", "line 3, column time: found 'later' as a time"),
        ("time [s],flow\n0,4.4\nlater,4.4\n", "line 3, column time [s]: found 'later' as a time"),
        ("time,flow,line\n07:42:00,4,40,120\n07:42:01,4,41,121\n", "the header names 3 columns"),
        ("time,flow\n03/04/2031 07:42,4\n03/04/2031 07:43,4\n", "3 April 2031 or 4 March 2031"),
        ("time [s],flow\n" + "".join(f"{n},4\n" for n in (5, 1, 4, 2, 9, 3)), "the times are in disorder"),
        ('time [s],flow\n0,4\n1,"4\n2,4\n', "never closed"),
        ("time [s],note\n0,a\n1,b\n", "no column of numbers"),
    ],
)
def test_what_stands_in_the_way_is_a_sentence_the_one_of_the_reader(
    tmp_path: Path, text: str | bytes, words: str
) -> None:
    path = _write(tmp_path, text)
    seen = preview(path)
    assert any(words in line for line in seen.errors), seen.errors
    assert all("\n" not in line for line in (*seen.errors, *seen.warnings))
    with pytest.raises(FileUnreadable) as caught:
        READER.read(path, {})
    assert caught.value.sentence in seen.errors


def test_a_file_that_is_not_there_is_a_sentence_too(tmp_path: Path) -> None:
    assert "cannot be opened" in preview(tmp_path / "none.csv").errors[0]


def test_a_table_that_needs_a_word_is_shown_all_the_same(tmp_path: Path) -> None:
    seen = preview(_write(tmp_path, "0,4.4,70\n1,4.5,71\n2,4.6,72\n"))
    assert [column.label for column in seen.columns] == ["column 1", "column 2", "column 3"]
    assert [cell.value for cell in seen.columns[1].cells] == [4.4, 4.5, 4.6]
    seen = preview(_write(tmp_path, "time,flow [L/min]\n03/04/2031 07:42,4\n03/04/2031 07:43,4\n"))
    assert seen.times is None
    assert seen.columns[1].unit == "L/min"


def test_a_map_for_other_files_is_not_used(tmp_path: Path) -> None:
    seen = preview(_write(tmp_path, PUMP), _told(match={"name": "monitor*"}, file={"separator": ","}))
    assert seen.separator == "semicolon"
    assert any("is for files called 'monitor*'" in line for line in seen.warnings)


def test_a_last_row_that_is_cut_has_no_last_time(tmp_path: Path) -> None:
    text = "time [s],flow,HR\n" + "".join(f"{n},4.4,70\n" for n in range(9000)) + "9000,4"
    seen = preview(_write(tmp_path, text))
    assert seen.times is not None
    assert seen.times.duration_s is None
    assert any("the last row" in line for line in seen.errors)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "latin-1"])
def test_the_last_time_of_a_long_file_past_midnight(tmp_path: Path, encoding: str) -> None:
    start = datetime(2000, 1, 1, 22)
    rows = "".join(f"{start + timedelta(seconds=n):%H:%M:%S};{n % 7};é\n" for n in range(9000))
    mark = "\ufeff" if encoding == "utf-16-be" else ""
    seen = preview(_write(tmp_path, f"{mark}time;flow [L/min];note\n{rows}".encode(encoding)))
    assert seen.times is not None
    assert (seen.times.duration_s, seen.times.last) == (8999.0, start + timedelta(seconds=8999))
    assert seen.rows == pytest.approx(9000, rel=0.03)


def test_the_rate_alone_tells_the_times(tmp_path: Path) -> None:
    columns = _told(
        file={"header_rows": 0}, time={"rate_hz": 125.0, "start": "08:00:00"}, channel=[{"column": 1}]
    )
    seen = preview(_write(tmp_path, "80\n81\n82\n"), columns)
    assert seen.errors == ()
    assert seen.times is not None
    assert (seen.times.interval_s, seen.times.first) == (0.008, datetime(2000, 1, 1, 8))
    assert seen.times.duration_s == 0.016
    assert seen.proposal.time == columns.time


def test_a_pump_that_stands_still_is_no_question(tmp_path: Path) -> None:
    flow = [0.0] * 20 + [0.02, 0.5, 2.1, 4.4] + [4.4] * 30 + [2.0, 0.3, 0.01] + [0.0] * 20
    text = "time [s],pump flow [L/min]\n" + "".join(f"{n},{value}\n" for n, value in enumerate(flow))
    assert preview(_write(tmp_path, text)).warnings == ()


def test_it_reads_the_ends_of_a_file_only_and_is_quick(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    row = "{:.3f},70.15,8.25,30.05\n"
    with path.open("wb") as file:
        file.write(b"time [s],ABP [mmHg],CVP [mmHg],PA [mmHg]\n")
        file.writelines(row.format(n / 500).encode() for n in range(4000))
        file.truncate(1 << 30)  # a hole: whoever reads it takes long, and finds zero bytes
        file.seek(0, 2)
        file.writelines(row.format(1e6 + n / 500).encode() for n in range(1000))
    spent = []
    for _ in range(5):
        begun = time.process_time()
        seen = preview(path)
        spent.append(time.process_time() - begun)
    assert seen.errors == ()
    assert seen.times is not None
    assert seen.times.duration_s == pytest.approx(1e6 + 999 / 500)
    assert min(spent) < 0.05


def test_it_needs_neither_pandas_nor_a_window(tmp_path: Path) -> None:
    path = _write(tmp_path, PUMP)
    code = (
        "import sys; from pathlib import Path; from afterclamp.io.readers.preview import preview; "
        f"preview(Path({str(path)!r})); print([n for n in ('pandas', 'scipy', 'PySide6') if n in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.strip() == "[]"
