"""Tables as hospitals hand them out: what is hard about each, and what is truly in it.

Times are made with the standard library's calendar, values are the decimals that are written. `TABLES` are twelve
ways of writing, `CLOCKS` six things that clocks do; `MORE` are further choices that a person can make. A second
export of the same device has `export=1`: other values, another hour, the same form.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta


@dataclass(frozen=True)
class Column:
    """A channel: label and unit as written, the unit in UCUM ("" where it must be asked for), true values."""

    label: str
    unit_as_written: str
    unit: str
    values: list[float | None]


@dataclass(frozen=True)
class Awkward:
    """A file and the truth about it.

    Attributes
    ----------
    seconds : list of float
        True seconds of the rows since the first.
    start : datetime or None
        What the clock said at the first row.
    asked : str
        What the preview must ask or point out; "" where what is seen leaves no doubt.
    choices : str
        What the person answers, as a column map.
    """

    name: str
    data: bytes
    columns: list[Column]
    seconds: list[float]
    start: datetime | None
    dated: bool = False
    asked: str = ""
    choices: str = ""
    missing: tuple[str, ...] = field(default=())


def _values(count: int, first: float, step: float, export: int) -> list[float]:
    return [round(first + step * ((n * 7 + 3 * export) % 11), 2) for n in range(count)]


def _number(value: float | None, decimal: str = ".", missing: str = "") -> str:
    return missing if value is None else f"{value:.2f}".replace(".", decimal)


def _table(
    header: Iterable[str], rows: Iterable[Iterable[str]], separator: str = ",", end: str = "\n"
) -> str:
    return "".join(separator.join(cells) + end for cells in [list(header), *map(list, rows)])


def _flow_and_pressure(count: int, export: int) -> tuple[list[float], list[float]]:
    return _values(count, 4.2, 0.03, export), _values(count, 140.0, 2.5, export)


def _clock_rows(start: datetime, count: int, step_s: float = 1.0) -> tuple[list[datetime], list[float]]:
    seconds = [n * step_s for n in range(count)]
    return [start + timedelta(seconds=second) for second in seconds], seconds


def semicolon(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 8 + export, 12, 5), 90)
    flow, line = _flow_and_pressure(90, export)
    rows = ([f"{t:%H:%M:%S}", _number(a), _number(b)] for t, a, b in zip(stamps, flow, line, strict=True))
    return Awkward(
        "semicolon.csv",
        _table(["time", "pump flow (L/min)", "line pressure (mmHg)"], rows, ";").encode(),
        [
            Column("pump flow", "L/min", "L/min", [*flow]),
            Column("line pressure", "mmHg", "mm[Hg]", [*line]),
        ],
        seconds,
        stamps[0],
    )


def decimal_comma(export: int = 0) -> Awkward:
    """Commas between cells and inside numbers, told apart by quotation marks only."""
    flow, line = _flow_and_pressure(90, export)
    seconds = [n * 0.5 for n in range(90)]
    rows = (
        [f'"{_number(s, ",")}"', f'"{_number(a, ",")}"', f'"{_number(b, ",")}"']
        for s, a, b in zip(seconds, flow, line, strict=True)
    )
    return Awkward(
        "decimal comma.csv",
        _table(["elapsed [s]", "pump flow [l/min]", "line pressure [mmHg]"], rows).encode(),
        [
            Column("pump flow", "l/min", "L/min", [*flow]),
            Column("line pressure", "mmHg", "mm[Hg]", [*line]),
        ],
        seconds,
        None,
    )


def two_header_rows(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 8 + export, 12, 5), 60, 5.0)
    flow, line = _flow_and_pressure(60, export)
    rows = ([f"{t:%H:%M:%S}", _number(a), _number(b)] for t, a, b in zip(stamps, flow, line, strict=True))
    text = "Export of one case\n\nTime;pump flow;line pressure\nhh:mm:ss;L/min;[mmHg]\n"
    return Awkward(
        "two header rows.txt",
        (text + _table([], rows, ";").removeprefix("\n")).encode(),
        [
            Column("pump flow", "L/min", "L/min", [*flow]),
            Column("line pressure", "mmHg", "mm[Hg]", [*line]),
        ],
        seconds,
        stamps[0],
    )


def twelve_hour_clock(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 11, 59, 30 + export), 90)
    flow, _ = _flow_and_pressure(90, export)
    rows = (
        [f"{t.hour % 12 or 12}:{t:%M:%S} {'AM' if t.hour < 12 else 'PM'}", _number(a)]
        for t, a in zip(stamps, flow, strict=True)
    )
    return Awkward(
        "twelve hours.csv",
        _table(["Clock", "pump flow [L/min]"], rows).encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0],
    )


def blank_units(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 8 + export, 12, 5), 90)
    flow, line = _flow_and_pressure(90, export)
    rows = ([f"{t:%H:%M:%S}", _number(a), _number(b)] for t, a, b in zip(stamps, flow, line, strict=True))
    return Awkward(
        "blank units.csv",
        _table(["time", "pump flow", "line pressure []"], rows).encode(),
        [Column("pump flow", "", "", [*flow]), Column("line pressure", "", "", [*line])],
        seconds,
        stamps[0],
        asked="its unit is not written; expected one of",
    )


def byte_order_mark(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 8 + export, 12, 5), 90)
    temperature = _values(90, 33.0, 0.1, export)
    rows = ([f"{t:%H:%M:%S}", _number(a)] for t, a in zip(stamps, temperature, strict=True))
    return Awkward(
        "mark.csv",
        _table(["time", "venous temp (°C)"], rows).encode("utf-16" if export else "utf-8-sig"),
        [Column("venous temp", "°C", "Cel", [*temperature])],
        seconds,
        stamps[0],
    )


def mixed_line_ends(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 8 + export, 12, 5), 90)
    flow, _ = _flow_and_pressure(90, export)
    lines = [f"{t:%H:%M:%S},{_number(a)}" for t, a in zip(stamps, flow, strict=True)]
    ends = ["\r\n", "\n", "\r\n\r\n", "\n\n"]
    text = "time,pump flow [L/min]\r\n" + "".join(line + ends[n % 4] for n, line in enumerate(lines))
    return Awkward(
        "line ends.csv",
        text.encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0],
    )


def missing_seconds(export: int = 0) -> Awkward:
    """Six rows a minute, and the clock shows minutes only: the rows' rate says the rest."""
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 8 + export, 12, 0), 120, 10.0)
    flow, _ = _flow_and_pressure(120, export)
    rows = ([f"{t:%H:%M}", _number(a)] for t, a in zip(stamps, flow, strict=True))
    return Awkward(
        "no seconds.csv",
        _table(["time", "pump flow [L/min]"], rows).encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0],
    )


def millisecond_epoch(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2031, 5, 8, 9 + export, 46, 40), 90, 0.25)
    flow, _ = _flow_and_pressure(90, export)
    since = [(t - datetime(1970, 1, 1)) // timedelta(milliseconds=1) for t in stamps]
    rows = ([f"{t}", _number(a)] for t, a in zip(since, flow, strict=True))
    return Awkward(
        "epoch.csv",
        _table(["timestamp", "pump flow [L/min]"], rows).encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0],
        dated=True,
    )


def day_first(export: int = 0) -> Awkward:
    """03/04/2031: the 3rd of April, and nothing in the file says so."""
    stamps, seconds = _clock_rows(datetime(2031, 4, 3 + export, 8, 12, 5), 90)
    flow, _ = _flow_and_pressure(90, export)
    rows = ([f"{t:%d/%m/%Y %H:%M:%S}", _number(a)] for t, a in zip(stamps, flow, strict=True))
    return Awkward(
        "day first.csv",
        _table(["time", "pump flow [L/min]"], rows).encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0],
        dated=True,
        asked="the date 03/04/2031 can be 3 April 2031 or 4 March 2031",
        choices='[time]\ndate_order = "day-first"\n',
    )


def duplicate_headers(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 8 + export, 12, 5), 90)
    flow, line = _flow_and_pressure(90, export)
    rows = ([f"{t:%H:%M:%S}", _number(a), _number(b)] for t, a, b in zip(stamps, line, flow, strict=True))
    return Awkward(
        "twice.csv",
        _table(["time", "P [mmHg]", "P [mmHg]"], rows).encode(),
        [Column("P", "mmHg", "mm[Hg]", [*line]), Column("P", "mmHg", "mm[Hg]", [*flow])],
        seconds,
        stamps[0],
        asked="'P' is the name of another column too",
    )


def dashes_for_missing(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 8 + export, 12, 5), 90)
    flow: list[float | None] = [*_flow_and_pressure(90, export)[0]]
    for n in (0, 7, 8, 9, 44, 89):
        flow[n] = None
    rows = ([f"{t:%H:%M:%S}", _number(a, missing="--- ")] for t, a in zip(stamps, flow, strict=True))
    return Awkward(
        "dashes.csv",
        _table(["time", "pump flow [L/min]"], rows).encode(),
        [Column("pump flow", "L/min", "L/min", flow)],
        seconds,
        stamps[0],
    )


# -- what clocks do ----------------------------------------------------------------------------------


def midnight(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 23, 58, 30 + export), 180)
    flow, _ = _flow_and_pressure(180, export)
    rows = ([f"{t:%H:%M:%S}", _number(a)] for t, a in zip(stamps, flow, strict=True))
    return Awkward(
        "midnight.csv",
        _table(["time", "pump flow [L/min]"], rows).encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0],
    )


def midnight_on_a_dial_of_twelve(export: int = 0) -> Awkward:
    """Neither am nor pm is written, and a row comes every ten minutes from 9 in the evening to 9 in the morning."""
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 21, export), 73, 600.0)
    flow, _ = _flow_and_pressure(73, export)
    rows = ([f"{t.hour % 12 or 12}:{t:%M:%S}", _number(a)] for t, a in zip(stamps, flow, strict=True))
    return Awkward(
        "dial of twelve.csv",
        _table(["time", "pump flow [L/min]"], rows).encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0],
        choices='[time]\nhalf_day = "pm"\n',
        asked="half_day",
    )


def into_the_leap_day(export: int = 0) -> Awkward:
    """A column of dates that cannot be read in another order beside a column of clocks."""
    stamps, seconds = _clock_rows(datetime(2028, 2, 28, 23, 59, 30 + export), 90)
    flow, _ = _flow_and_pressure(90, export)
    rows = ([f"{t:%d.%m.%Y}", f"{t:%H:%M:%S}", _number(a, ",")] for t, a in zip(stamps, flow, strict=True))
    return Awkward(
        "leap day.csv",
        _table(["Datum", "Zeit", "pump flow [L/min]"], rows, ";").encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0],
        dated=True,
    )


def out_of_the_leap_day(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2028, 2, 29, 23, 59, 30 + export), 90, 0.5)
    flow, _ = _flow_and_pressure(90, export)
    rows = (
        [f"{t:%m/%d/%y %I:%M:%S}.{t.microsecond // 100000} {t:%p}", _number(a)]
        for t, a in zip(stamps, flow, strict=True)
    )
    return Awkward(
        "after the leap day.csv",
        _table(["time", "pump flow [L/min]"], rows).encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0],
        dated=True,
    )


# Summer time of the European Union begins and ends at 1:00 universal time on the last Sunday of March and October
# (Directive 2000/84/EC): in Berlin from 2:00 to 3:00, and from 3:00 back to 2:00. In 2031 on 30 March and 26 October.
_ENDS = datetime(2031, 10, 26, 1)
_BEGINS = datetime(2031, 3, 30, 1)


def _in_berlin(universal: datetime) -> datetime:
    return universal + timedelta(hours=2 if _BEGINS <= universal < _ENDS else 1)


def repeated_hour(export: int = 0) -> Awkward:
    universal, seconds = _clock_rows(_ENDS - timedelta(seconds=60 + export), 240)
    stamps = [_in_berlin(t) for t in universal]
    flow, _ = _flow_and_pressure(240, export)
    rows = ([f"{t:%Y-%m-%d %H:%M:%S}", _number(a)] for t, a in zip(stamps, flow, strict=True))
    return Awkward(
        "repeated hour.csv",
        _table(["time", "pump flow [L/min]"], rows).encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0],
        dated=True,
        asked='say summer_time = "ends"',
        choices='[time]\nsummer_time = "ends"\n',
    )


def missing_hour(export: int = 0) -> Awkward:
    universal, seconds = _clock_rows(_BEGINS - timedelta(seconds=60 + export), 240)
    stamps = [_in_berlin(t) for t in universal]
    flow, _ = _flow_and_pressure(240, export)
    rows = ([f"{t:%H:%M:%S}", _number(a)] for t, a in zip(stamps, flow, strict=True))
    return Awkward(
        "missing hour.csv",
        _table(["time", "pump flow [L/min]"], rows).encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0].replace(year=2000, month=1, day=1),
        asked='say summer_time = "begins"',
        choices='[time]\nsummer_time = "begins"\n',
    )


# -- further choices ---------------------------------------------------------------------------------


def no_header(export: int = 0) -> Awkward:
    flow, line = _flow_and_pressure(90, export)
    seconds = [n * 0.02 for n in range(90)]
    rows = ([f"{s:.2f}", _number(a), _number(b)] for s, a, b in zip(seconds, flow, line, strict=True))
    return Awkward(
        "no header.csv",
        _table([], rows).removeprefix("\n").encode(),
        [Column("flow", "L/min", "L/min", [*flow]), Column("line pressure", "mmHg", "mm[Hg]", [*line])],
        seconds,
        None,
        asked="the table has no header",
        choices=(
            '[file]\nheader_rows = 0\n[time]\ncolumn = 1\nkind = "seconds"\n'
            '[[channel]]\ncolumn = 2\nlabel = "flow"\nunit = "L/min"\nkind = "pump_flow"\n'
            '[[channel]]\ncolumn = 3\nlabel = "line pressure"\nunit = "mmHg"\n'
        ),
    )


def zero_for_missing(export: int = 0) -> Awkward:
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 8 + export, 12, 5), 90)
    saturation: list[float | None] = [*_values(90, 62.0, 0.5, export)]
    for n in (3, 20, 21, 22, 61):
        saturation[n] = None
    rows = ([f"{t:%H:%M:%S}", _number(a, missing="0.00")] for t, a in zip(stamps, saturation, strict=True))
    return Awkward(
        "zero.csv",
        _table(["time", "NIRS L (%)"], rows).encode(),
        [Column("NIRS L", "%", "%", saturation)],
        seconds,
        stamps[0],
        asked="zero_is_missing = true",
        choices="[file]\nzero_is_missing = true\n",
    )


def a_row_for_each_change(export: int = 0) -> Awkward:
    """Every 60 s by chance, so that the rows look even."""
    stamps, seconds = _clock_rows(datetime(2000, 1, 1, 8 + export, 12, 5), 40, 60.0)
    flow, _ = _flow_and_pressure(40, export)
    rows = ([f"{t:%H:%M:%S}", _number(a)] for t, a in zip(stamps, flow, strict=True))
    return Awkward(
        "changes.csv",
        _table(["time", "pump flow [L/min]"], rows).encode(),
        [Column("pump flow", "L/min", "L/min", [*flow])],
        seconds,
        stamps[0],
        choices="[time]\nuneven = true\n",
    )


Maker = Callable[[int], Awkward]

TABLES: tuple[Maker, ...] = (
    semicolon,
    decimal_comma,
    two_header_rows,
    twelve_hour_clock,
    blank_units,
    byte_order_mark,
    mixed_line_ends,
    missing_seconds,
    millisecond_epoch,
    day_first,
    duplicate_headers,
    dashes_for_missing,
)
CLOCKS: tuple[Maker, ...] = (
    midnight,
    midnight_on_a_dial_of_twelve,
    into_the_leap_day,
    out_of_the_leap_day,
    repeated_hour,
    missing_hour,
)
MORE: tuple[Maker, ...] = (no_header, zero_for_missing, a_row_for_each_change)
ALL = (*TABLES, *CLOCKS, *MORE)
