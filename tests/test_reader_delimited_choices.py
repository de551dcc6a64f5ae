"""Choices that a person makes about a table, and what is asked because nothing in the table decides it."""

from __future__ import annotations

import hashlib
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from afterclamp.io import bring_in
from afterclamp.io.errors import Cancelled, FileUnreadable, QuestionsOpen
from afterclamp.io.plan import look
from afterclamp.io.readers import row_bytes
from afterclamp.io.readers.column_map import ColumnMap, load_column_map, to_toml
from afterclamp.io.readers.dates import DATE_ORDERS, UnsureDate, date_of, order_of, readings_of
from afterclamp.io.readers.delimited import READER
from afterclamp.io.readers.text_stamps import TextStamps
from afterclamp.io.recording import RecordedChannel, Recording
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st


def _write(folder: Path, text: str | bytes, name: str = "pump.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def _read(path: Path, told: dict[str, Any] | None = None, **options: Any) -> Recording:
    columns = None if told is None else ColumnMap.model_validate(told)
    (recording,) = READER.read(path, {"columns": columns, **options})
    return recording


def _refusal(path: Path, told: dict[str, Any] | None = None) -> FileUnreadable:
    with pytest.raises(FileUnreadable) as caught:
        _read(path, told)
    assert caught.value.todo
    return caught.value


def _values(channel: RecordedChannel) -> list[float | None]:
    found: list[float | None] = []
    for block in channel.blocks():
        there = np.ones(len(block.codes), bool) if block.valid is None else block.valid
        found += [float(code) if ok else None for code, ok in zip(block.codes, there, strict=True)]
    return found


def _table(stamps: list[str], header: str = "time") -> str:
    return f"{header};flow [L/min]\n" + "".join(f"{stamp};{n}\n" for n, stamp in enumerate(stamps))


# -- order of day, month and year --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "order", "expected"),
    [
        ("03/04/2026", "day-first", date(2026, 4, 3)),
        ("03/04/2026", "month-first", date(2026, 3, 4)),
        ("3.4.2026", "day-first", date(2026, 4, 3)),
        ("13/04/2026", None, date(2026, 4, 13)),
        ("04/13/2026", None, date(2026, 4, 13)),
        ("04/04/2026", None, date(2026, 4, 4)),
        ("2026-4-3", None, date(2026, 4, 3)),
        ("2026-04-03", "day-first", date(2026, 4, 3)),
        ("3 Apr 2026", None, date(2026, 4, 3)),
        ("03-April-2026", "month-first", date(2026, 4, 3)),
        ("03/04/26", "year-first", date(2003, 4, 26)),
        # POSIX strptime: 69 to 99 are of the last century, 00 to 68 of this one.
        ("31/12/68", None, date(2068, 12, 31)),
        ("31/12/69", "day-first", date(1969, 12, 31)),
        ("29/02/2027", "day-first", None),
        ("13/04/2026", "month-first", None),
        ("03/04-2026", "day-first", None),
        ("yesterday", "day-first", None),
    ],
)
def test_a_date_is_read_in_the_order_that_is_told(text: str, order: Any, expected: date | None) -> None:
    assert date_of(text, order) == expected


@pytest.mark.parametrize("text", ["03/04/2026", "12.11.2031", "03/04/26"])
def test_a_date_with_two_readings_is_never_guessed(text: str) -> None:
    with pytest.raises(UnsureDate) as caught:
        date_of(text, None)
    assert len(set(caught.value.readings)) >= 2


def test_one_date_that_fits_one_order_decides_for_all() -> None:
    assert order_of(["03/04/2026", "03/04/2026", "13/04/2026"]) == "day-first"
    assert order_of(["03/04/2026", "03/13/2026"]) == "month-first"
    assert order_of(["04/04/2026"]) is None
    assert order_of(["2026-04-03"]) == "year-first"


@given(st.dates(date(1970, 1, 1), date(2068, 12, 31)))
@settings(derandomize=True, deadline=None)
def test_every_date_is_read_back_in_the_order_it_was_written_in(day: date) -> None:
    written = {
        "year-first": [f"{day:%Y-%m-%d}", f"{day.year}/{day.month}/{day.day}", f"{day:%y-%m-%d}"],
        "day-first": [f"{day:%d.%m.%Y}", f"{day.day}/{day.month}/{day.year}", f"{day:%d-%m-%y}"],
        "month-first": [f"{day:%m/%d/%Y}", f"{day:%m-%d-%y}"],
    }
    for order in DATE_ORDERS:
        for text in written[order]:
            assert date_of(text, order) == day
            assert readings_of(text)[order] == day


def test_the_question_says_both_readings_and_the_key_that_decides(tmp_path: Path) -> None:
    refusal = _refusal(_write(tmp_path, _table(["03/04/2026 07:42:00", "03/04/2026 07:42:01"])))
    assert refusal.place == "column time"
    assert "3 April 2026 or 4 March 2026" in refusal.what
    assert 'date_order = "day-first", "month-first"' in refusal.todo


def test_an_answer_of_one_line_is_enough(tmp_path: Path) -> None:
    path = _write(tmp_path, _table(["03/04/2026 07:42:00", "03/04/2026 07:42:01"]))
    assert _read(path, {"time": {"date_order": "month-first"}}).first_stamp == datetime(2026, 3, 4, 7, 42)
    assert _read(path, {"time": {"date_order": "day-first"}}).first_stamp == datetime(2026, 4, 3, 7, 42)


def test_a_date_further_down_that_has_two_readings_is_asked_about_with_its_line(tmp_path: Path) -> None:
    start = datetime(2026, 4, 4, 22)
    stamps = [f"{start + timedelta(seconds=n):%d/%m/%Y %H:%M:%S}" for n in range(7202)]
    path = _write(tmp_path, _table(stamps))
    refusal = _refusal(path)
    assert refusal.place == "line 7202, column time"
    assert "5 April 2026 or 4 May 2026" in refusal.what
    (channel,) = _read(path, {"time": {"date_order": "day-first"}}).channels
    assert (channel.segments[0].count, channel.segments[0].rate_hz) == (7202, 1.0)


def test_a_date_against_the_order_is_named_with_its_line(tmp_path: Path) -> None:
    path = _write(tmp_path, _table(["13/04/2026 07:42:00", "04/14/2026 07:42:01"]))
    refusal = _refusal(path)
    assert refusal.place == "line 3, column time"
    assert "expected a date and time such as 04.05.2031 07:42:00, day-first" in refusal.what


# -- a column of dates beside one of clocks ----------------------------------------------------------


def _dated(rows: list[tuple[str, str]], header: str = "date;time") -> str:
    return f"{header};flow [L/min]\n" + "".join(f"{d};{t};{n}\n" for n, (d, t) in enumerate(rows))


def test_date_and_clock_in_two_columns_are_one_time(tmp_path: Path) -> None:
    rows = [("2031-05-04", "23:59:58"), ("2031-05-04", "23:59:59"), ("2031-05-05", "00:00:00")]
    pump = _read(_write(tmp_path, _dated(rows)))
    assert (pump.first_stamp, pump.dated) == (datetime(2031, 5, 4, 23, 59, 58), True)
    assert (pump.channels[0].segments[0].count, pump.channels[0].segments[0].rate_hz) == (3, 1.0)


def test_one_date_for_all_rows_is_that_of_the_first(tmp_path: Path) -> None:
    rows = [("2031-05-04", "23:59:58"), ("2031-05-04", "23:59:59"), ("2031-05-04", "00:00:00")]
    pump = _read(_write(tmp_path, _dated(rows)))
    assert (pump.first_stamp, pump.dated) == (datetime(2031, 5, 4, 23, 59, 58), True)
    assert (pump.channels[0].segments[0].count, pump.channels[0].segments[0].run) == (3, 0)


def test_a_date_of_birth_is_no_date_of_the_recording(tmp_path: Path) -> None:
    rows = [("1961-05-04", "07:42:00"), ("1961-05-04", "07:42:01")]
    pump = _read(_write(tmp_path, _dated(rows, "date of birth;time")))
    assert not pump.dated
    assert any("column date of birth: a second column of times" in line for line in pump.set_aside)


def test_a_map_names_the_column_of_dates(tmp_path: Path) -> None:
    rows = [("03/04/2026", "07:42:00"), ("03/04/2026", "07:42:01")]
    told = {"time": {"column": "shown", "date_column": "noted", "date_order": "day-first"}}
    pump = _read(_write(tmp_path, _dated(rows, "noted;shown")), told)
    assert pump.first_stamp == datetime(2026, 4, 3, 7, 42)


def test_a_wrong_date_is_named_in_its_own_column(tmp_path: Path) -> None:
    rows = [("2031-02-28", "07:42:00"), ("2031-02-29", "07:42:01")]
    refusal = _refusal(_write(tmp_path, _dated(rows)))
    assert refusal.place == "line 3, column date"
    assert "found '2031-02-29' as a date; expected a date such as 2031-05-04" in refusal.what


def test_two_columns_of_times_without_a_name_are_asked_about(tmp_path: Path) -> None:
    refusal = _refusal(_write(tmp_path, "drawn,reported,Hb [g/dL]\n08:00,08:06,11.2\n09:00,09:08,10.1\n"))
    assert "the columns drawn, reported all hold times" in refusal.what


# -- clocks -------------------------------------------------------------------------------------------


def test_a_dial_of_twelve_hours_that_shows_more_is_refused(tmp_path: Path) -> None:
    refusal = _refusal(_write(tmp_path, _table(["12:59:59", "13:00:00"])), {"time": {"half_day": "am"}})
    assert "it shows more than 12" in refusal.what


def test_noon_and_midnight_on_a_dial_of_twelve_hours(tmp_path: Path) -> None:
    stamps = [f"{(n // 2) % 12 or 12}:{30 * (n % 2):02d}:00" for n in range(18, 18 + 60)]
    pump = _read(_write(tmp_path, _table(stamps)), {"time": {"half_day": "am"}})
    (segment,) = pump.channels[0].segments
    assert (segment.count, segment.rate_hz, segment.run) == (60, 1 / 1800, 0)
    assert pump.first_stamp == datetime(2000, 1, 1, 9)


@pytest.mark.parametrize(
    ("seconds", "told", "found"),
    [
        (range(27720, 27780), "ends", 0),
        (range(27720, 27780), "begins", 0),
        ([*range(7140, 7200), *range(3600, 7200), *range(3600, 3700)], "ends", 2),
    ],
)
def test_an_hour_that_is_not_there_is_not_made_good(
    tmp_path: Path, seconds: list[int], told: str, found: int
) -> None:
    stamps = [str(timedelta(seconds=second)) for second in seconds]
    refusal = _refusal(_write(tmp_path, _table(stamps)), {"time": {"summer_time": told}})
    assert f"by an hour, found {found}" in refusal.what


def test_an_hour_of_summer_time_beside_a_longer_gap(tmp_path: Path) -> None:
    seconds = [*range(3000, 3100), *range(7600, 7680), *range(11281, 11300)]
    stamps = [str(timedelta(seconds=second)) for second in seconds]
    path = _write(tmp_path, _table(stamps))
    told = {"time": {"summer_time": "begins"}}
    (channel,) = _read(path, told).channels
    assert [(s.start_s, s.count) for s in channel.segments] == [(0, 100), (4600, 80), (4681, 19)]


def test_an_hour_back_is_a_clock_that_somebody_set_until_a_person_says_otherwise(tmp_path: Path) -> None:
    seconds = [*range(7140, 7200), *range(3600, 3700)]
    stamps = [str(timedelta(seconds=second)) for second in seconds]
    pump = _read(_write(tmp_path, _table(stamps)))
    assert [segment.run for segment in pump.channels[0].segments] == [0, 1]
    assert 'say summer_time = "ends"' in pump.about["steps in doubt"]
    assert "before row 61 (from 01:59:59 to 01:00:00)" in pump.about["steps in doubt"]


# Six hours at 1 Hz, ten times longer than what a preview looks at; Europe's clocks went back from 03:00 to 02:00 on
# the last Sunday of October and forward from 02:00 to 03:00 on that of March (Directive 2000/84/EC).
LONG = 6 * 3600
DAY = datetime(2031, 10, 26)


def _long(folder: Path, start_s: int, form: str, step_s: int = 0, at: int = 9000) -> Path:
    moments = (DAY + timedelta(seconds=start_s + n + (step_s if n >= at else 0)) for n in range(LONG))
    path = _write(
        folder, "time,ABP mean (mmHg)\n" + "".join(f"{m:{form}},{80 + m.second % 11}\n" for m in moments)
    )
    assert path.stat().st_size > 65536
    return path


CLOCKS = [
    # start, form, step, where it is, answer, and the stamp of the first row once it is answered
    (10 * 3600, "%I:%M:%S", 0, "before row 10801 (from 12:59:59 to 01:00:00)", "am", 10),
    (10 * 3600, "%I:%M:%S", 0, "before row 10801 (from 12:59:59 to 01:00:00)", "pm", 22),
    (1800, "%H:%M:%S", -3600, "before row 9001 (from 02:59:59 to 02:00:00)", "summer time ends", 0.5),
    (1800, "%H:%M:%S", 3600, "before row 9001 (from 02:59:59 to 04:00:00)", "summer time begins", 0.5),
]


@pytest.mark.parametrize(("start_s", "form", "step_s", "place", "answer", "hour"), CLOCKS)
def test_a_step_of_a_long_table_is_asked_about_and_read_as_answered(
    tmp_path: Path, start_s: int, form: str, step_s: int, place: str, answer: str, hour: float
) -> None:
    path = _long(tmp_path, start_s, form, step_s)
    with pytest.raises(QuestionsOpen) as caught:
        bring_in(path, tmp_path / "case")
    (question,) = caught.value.questions
    assert question.id == "steps:pump.csv"
    assert place in question.text
    assert f'"{answer}"' in question.text.split("; expected one of ")[1]
    assert [choice.answers for choice in question.choices if choice.proposed] == [
        {"steps": {"pump.csv": "as it stands"}}
    ]
    chosen = [choice.answers for choice in question.choices if choice.answers["steps"]["pump.csv"] == answer]
    (tmp_path / "answers.toml").write_text(f'[steps]\n"pump.csv" = "{answer}"\n')
    for answers in (chosen[0], tmp_path / "answers.toml"):
        plan = look([path], tmp_path / "case", answers=answers)
        assert not plan.questions
        (recording,) = plan.recordings
        (channel,) = recording.channels
        assert [(s.start_s, s.count, s.run) for s in channel.segments] == [(0.0, LONG, 0)]
        assert recording.first_stamp is not None
        assert recording.first_stamp.hour + recording.first_stamp.minute / 60 == hour
        assert not any("row" in line for line in recording.set_aside)


@pytest.mark.parametrize(("start_s", "form", "step_s", "place"), [clock[:4] for clock in CLOCKS[1:]])
def test_a_step_taken_as_it_stands_is_said_by_the_source(
    tmp_path: Path, start_s: int, form: str, step_s: int, place: str
) -> None:
    path = _long(tmp_path, start_s, form, step_s)
    for name, answers in (("accepted", None), ("answered", {"steps": {"pump.csv": "as it stands"}})):
        with bring_in(path, tmp_path / name, answers=answers, accept_proposals=answers is None) as case:
            (line,) = [line for line in case.sources[0].set_aside if place in line]
            assert line.endswith("taken as it stands")


def test_a_clock_of_24_hours_set_back_by_twelve_is_no_dial_of_twelve_hours(tmp_path: Path) -> None:
    path = _long(tmp_path, 12 * 3600, "%H:%M:%S", -(12 * 3600 - 60))
    bring_in(path, tmp_path / "case").close()


def test_a_dial_of_twelve_hours_beside_dates_cannot_be_told_by_a_column_map(tmp_path: Path) -> None:
    path = _long(tmp_path, 10 * 3600, "%Y-%m-%d %I:%M:%S")
    with pytest.raises(QuestionsOpen, match="with 24 hours") as caught:
        bring_in(path, tmp_path / "case")
    (question,) = caught.value.questions
    assert [choice.answers["steps"]["pump.csv"] for choice in question.choices] == ["as it stands"]


@pytest.mark.parametrize(
    ("answer", "why"), [("summer time begins", "found 0"), ("am", "more than 12"), ("half past", "steps")]
)
def test_an_answer_that_does_not_fit_the_clock_is_refused(tmp_path: Path, answer: str, why: str) -> None:
    path = _long(tmp_path, 10 * 3600, "%H:%M:%S")
    with pytest.raises(FileUnreadable, match=why):
        bring_in(path, tmp_path / "case", answers={"steps": {"pump.csv": answer}})
    assert not (tmp_path / "case").exists()


def test_a_counter_of_milliseconds_is_no_date(tmp_path: Path) -> None:
    stamps = [str(1_936_000_000 + 250 * n) for n in range(8)]
    pump = _read(_write(tmp_path, _table(stamps, "time [ms]")))
    assert pump.first_stamp is None
    assert pump.channels[0].segments[0].rate_hz == 4.0


@pytest.mark.parametrize("header", ["time [s]", "time"])
def test_numbers_that_are_no_seconds_of_any_date_are_asked_about(tmp_path: Path, header: str) -> None:
    stamps = [str(19_360_000_000_000_000 + n) for n in range(3)]
    assert "times" in _refusal(_write(tmp_path, _table(stamps, header))).what


@pytest.mark.parametrize("kind", ["epoch_s", "epoch_ms"])
def test_a_date_beyond_every_calendar_is_refused(tmp_path: Path, kind: str) -> None:
    path = _write(tmp_path, _table(["1e300", "1e300"], "t"))
    assert "after 2199" in _refusal(path, {"time": {"kind": kind}}).what
    path = _write(tmp_path, _table(["0", "1e300"], "t [s]"))
    assert "days" in _refusal(path).what


@given(
    st.lists(st.integers(0, 86_399_999), min_size=1, max_size=60),
    st.sampled_from(["%H:%M:%S.{f}", "%-H:%M:%S", "%I:%M:%S %p", "%H:%M", "%-I:%M:%S.{f}pm"]),
)
@settings(derandomize=True, deadline=None)
def test_clocks_are_read_alike_together_and_one_by_one(times: list[int], form: str) -> None:
    moments = [datetime(2000, 1, 1) + timedelta(milliseconds=time) for time in times]
    form = form.replace("pm", " %p")
    texts = [f"{t:{form}}".replace("{f}", f"{t.microsecond // 1000:03d}") for t in moments]
    together = TextStamps("clock").read(texts)
    alone = [float(TextStamps("clock").read([text, "0:00"])[0]) for text in texts]
    np.testing.assert_array_equal(together, alone)
    unit_ms = 1 if "{f}" in form else 60_000 if form == "%H:%M" else 1000
    np.testing.assert_allclose(together, [time // unit_ms * unit_ms / 1000 for time in times], atol=1e-6)


def test_a_shift_from_universal_time_that_changes(tmp_path: Path) -> None:
    stamps = ["2031-10-26T02:59:58+02:00", "2031-10-26T02:59:59+0200", "2031-10-26T02:00:00+01:00"]
    (channel,) = _read(_write(tmp_path, _table([*stamps, "2031-10-26T01:00:01Z"]))).channels
    assert (channel.segments[0].count, channel.segments[0].rate_hz) == (4, 1.0)


# -- missing values ------------------------------------------------------------------------------------


MANY = "time [s],a [%],b [%]\n0,0,0.00\n1,-1,62\n2,---,-1.0\n3,999,off\n" + "".join(
    f"{n},5,6\n" for n in range(4, 12)
)


@pytest.mark.parametrize(
    ("told", "a", "b"),
    [
        ({"file": {"missing": ["off"]}}, [0, -1, None, 999, 5], [0, 62, -1, None, 6]),
        ({"file": {"missing": ["off", "-1"]}}, [0, None, None, 999, 5], [0, 62, None, None, 6]),
        (
            {"file": {"missing": ["off"], "zero_is_missing": True}},
            [None, -1, None, 999, 5],
            [None, 62, -1, None, 6],
        ),
        (
            {
                "file": {"missing": ["off"], "zero_is_missing": True},
                "channel": [
                    {"column": 2, "missing": ["999"]},
                    {"column": "b [%]", "zero_is_missing": False},
                ],
            },
            [None, -1, None, None, 5],
            [0, 62, -1, None, 6],
        ),
    ],
)
def test_what_stands_for_missing_is_told_for_the_file_and_for_a_column(
    tmp_path: Path, told: dict[str, Any], a: list[float | None], b: list[float | None]
) -> None:
    first, second = _read(_write(tmp_path, MANY), told).channels
    assert (_values(first)[:5], _values(second)[:5]) == (a, b)
    assert _values(first)[5:] == [5] * 7


def test_zero_stays_zero_until_a_person_says_otherwise(tmp_path: Path) -> None:
    (channel,) = _read(_write(tmp_path, "time [s],NIRS L [%]\n0,62\n1,0\n2,0\n3,62\n")).channels
    assert _values(channel) == [62, 0, 0, 62]


def test_a_time_of_zero_is_never_missing(tmp_path: Path) -> None:
    told = {"file": {"missing": ["0"], "zero_is_missing": True}}
    (channel,) = _read(_write(tmp_path, "time [s],NIRS L [%]\n0,62\n1,0\n2,61\n"), told).channels
    assert _values(channel) == [62, None, 61]


def test_rows_without_anything_are_left_out_and_listed(tmp_path: Path) -> None:
    text = "time,flow [L/min],line [mmHg]\n07:42:00,4,120\n,,\n07:42:01,5,121\n,---,\n,,\n"
    pump = _read(_write(tmp_path, text))
    assert _values(pump.channels[0]) == [4, 5]
    assert pump.channels[0].segments[0].count == 2
    assert "pump.csv: 3 rows without a time and without a value" in pump.set_aside


def test_a_line_is_named_rightly_after_rows_without_anything(tmp_path: Path) -> None:
    text = "time,flow [L/min]\n07:42:00,4\n,\n07:42:01,5\n\nlater,6\n"
    assert _refusal(_write(tmp_path, text)).place == "line 6, column time"


def test_spaces_around_cells_do_not_hide_a_mark_for_missing(tmp_path: Path) -> None:
    text = "time [s] ; flow [L/min] ; line [mmHg]\n0 ; --- ; 120 \n1 ; 4.5 ; --- \n2 ; 4.6 ; 121 \n"
    first, second = _read(_write(tmp_path, text)).channels
    assert _values(first)[1:] == pytest.approx([4.5, 4.6], rel=1e-6)
    assert _values(second) == [120, None, 121]


# -- headers -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "time,flow,line\n07:42:00,4,40,120\n07:42:01,4,41,121\n",  # decimal commas among commas
        "flow,line\n07:42:00,4.4,120\n07:42:01,4.4,121\n",  # row names without a header
        "time flow line pressure\n07:42:00 4.4 120\n07:42:01 4.4 121\n",  # a name in two words
    ],
)
def test_a_header_that_does_not_fit_its_rows_is_not_laid_over_them(tmp_path: Path, text: str) -> None:
    refusal = _refusal(_write(tmp_path, text))
    assert refusal.place == "line 1"
    assert "the header names" in refusal.what


def test_columns_told_by_number_need_no_fitting_header(tmp_path: Path) -> None:
    told = {"time": {"column": 1, "kind": "clock"}, "channel": [{"column": 3, "label": "line"}]}
    text = "time flow line pressure\n07:42:00 4.4 120\n07:42:01 4.4 121\n"
    (channel,) = _read(_write(tmp_path, text), told).channels
    assert (channel.label, _values(channel)) == ("line", [120, 121])


def test_a_separator_at_the_end_of_every_line_is_no_column(tmp_path: Path) -> None:
    (channel,) = _read(_write(tmp_path, "time [s],flow [L/min]\n0,4,\n1,5,\n")).channels
    assert _values(channel) == [4, 5]


def test_two_headers_alike_are_told_apart_by_number(tmp_path: Path) -> None:
    path = _write(tmp_path, "time [s],P [mmHg],P [mmHg]\n0,120,4\n1,121,5\n")
    told = {"channel": [{"column": 3, "label": "central"}]}
    (channel,) = _read(path, told).channels
    assert (channel.label, channel.unit_as_written, _values(channel)) == ("central", "mmHg", [4, 5])
    refusal = _refusal(path, {"channel": [{"column": "P [mmHg]"}]})
    assert "stands twice" in refusal.what


def test_the_time_is_no_channel_beside_itself(tmp_path: Path) -> None:
    path = _write(tmp_path, "time [s],flow [L/min]\n0,4\n1,5\n")
    refusal = _refusal(path, {"channel": [{"column": 1}]})
    assert "column 1" in refusal.what
    refusal = _refusal(path, {"channel": [{"column": 2}, {"column": "flow"}]})
    assert "twice" in refusal.what


# -- rows in pieces --------------------------------------------------------------------------------------


TRICKY = (
    'time [s];flow [L/min];note\n0;4,5;"first\nand; more"\r\n1;4,6;\n\n2;---;"a ""word"""\r3;4,8;é\n4;4,9;x\n'
)


@given(piece=st.integers(1, 90))
@settings(
    derandomize=True,
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_a_file_reads_the_same_wherever_its_pieces_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, encoding: str, piece: int
) -> None:
    path = _write(tmp_path, TRICKY.encode(encoding))
    monkeypatch.setattr(row_bytes, "_PIECE", piece)
    pump = _read(path)
    (channel,) = pump.channels
    assert [None if value is None else round(value, 5) for value in _values(channel)] == [
        4.5,
        4.6,
        None,
        4.8,
        4.9,
    ]
    assert pump.files == ((path.name, hashlib.sha256(path.read_bytes()).hexdigest()),)


def test_a_short_row_in_any_piece_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(row_bytes, "_PIECE", 64)
    rows = [f"{n},4.4,{n}" for n in range(100)]
    rows[71] = "71,4.4"
    path = _write(tmp_path, "time [s],flow [L/min],HR [bpm]\n" + "\n".join(rows) + "\n")
    refusal = _refusal(path)
    assert (refusal.place, refusal.what) == ("line 73", "found 2 columns; expected 3 as in the rows before")


def test_a_zero_byte_is_not_the_end_of_a_number(tmp_path: Path) -> None:
    rows = b"".join(b"%d,4.4\n" % n for n in range(20_000)).replace(b"9999,4.4", b"9999,4\x004")
    assert "zero byte" in _refusal(_write(tmp_path, b"time [s],flow\n" + rows)).what


def test_reading_tells_how_far_it_is_and_stops_when_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(row_bytes, "_PIECE", 256)
    path = _write(tmp_path, "time [s],flow [L/min]\n" + "".join(f"{n},4.4\n" for n in range(5000)))
    heard: list[float] = []
    _read(path, progress=heard.append)
    assert heard == sorted(heard)
    assert heard[-1] == 1.0
    again: list[float] = []
    with pytest.raises(Cancelled):
        _read(path, progress=again.append, cancelled=lambda: len(again) == 30)
    assert again == heard[:30]


# -- the map as a file ------------------------------------------------------------------------------------


_TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12)
_NAMES = st.one_of(st.integers(1, 99), _TEXT)
_MAPS = st.fixed_dictionaries(
    {},
    optional={
        "match": st.fixed_dictionaries({"name": _TEXT}),
        "file": st.fixed_dictionaries(
            {},
            optional={
                "separator": st.sampled_from(["tab", ";", ",", "space", "bar", "#"]),
                "decimal": st.sampled_from([".", ","]),
                "encoding": st.sampled_from(["utf-8", "utf-16", "latin-1"]),
                "skip_rows": st.integers(0, 1000),
                "header_rows": st.integers(0, 2),
                "missing": st.lists(
                    st.text(st.characters(exclude_categories=["Cs"]), max_size=5), max_size=3
                ),
                "zero_is_missing": st.booleans(),
            },
        ),
        "time": st.fixed_dictionaries(
            {"kind": st.just("clock")},
            optional={
                "column": _NAMES,
                "date_column": _NAMES,
                "date_order": st.sampled_from(DATE_ORDERS),
                "half_day": st.sampled_from(["am", "pm"]),
                "summer_time": st.sampled_from(["begins", "ends"]),
                "rate_hz": st.floats(1e-3, 1e5),
                "start": st.just("07:42:00"),
            },
        ),
        "channel": st.lists(
            st.fixed_dictionaries(
                {"column": _NAMES},
                optional={
                    "label": _TEXT,
                    "unit": _TEXT,
                    "kind": st.just("arterial_pressure"),
                    "missing": st.lists(_TEXT, max_size=2),
                    "zero_is_missing": st.booleans(),
                },
            ),
            max_size=3,
        ),
    },
)


@given(told=_MAPS)
@settings(
    derandomize=True,
    deadline=None,
    max_examples=150,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_a_map_is_read_back_as_it_was_written(tmp_path: Path, told: dict[str, Any]) -> None:
    columns = ColumnMap.model_validate(told)
    path = tmp_path / "columns.toml"
    path.write_text(to_toml(columns), "utf-8", newline="\n")
    assert load_column_map(path) == columns


def test_the_example_of_the_module_is_a_map(tmp_path: Path) -> None:
    from afterclamp.io.readers import column_map

    doc = column_map.__doc__ or ""
    lines = doc[doc.index("    [match]") :].split("`to_toml`")[0].split("\n")
    # One example of each choice: rate_hz and uneven exclude each other, a datetime needs no date_column.
    kept = [line[4:] for line in lines if not line.strip().startswith("uneven")]
    path = tmp_path / "columns.toml"
    path.write_text("\n".join(kept), "utf-8")
    columns = load_column_map(path)
    for table in (columns.file, columns.time, columns.channel[0]):
        assert table is not None
        for name in type(table).model_fields:
            assert name in "\n".join(kept) or name == "uneven", name


def test_a_map_of_arrays_is_none_for_a_table(tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_text('[[signal]]\npath = "/a"\nrate_hz = 1.0\nlabel = "a"\n')
    table = _write(tmp_path, "time [s],flow [L/min]\n0,4\n1,5\n")
    (recording,) = READER.read(table, {"columns": path})
    assert len(recording.channels) == 1
