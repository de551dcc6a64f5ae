"""What the reading commands print: rows for JSON with fixed names, and aligned tables for people.

The JSON shapes are relied on by other programs: names are only ever added. Times are seconds of the
reference clock, standard deviations are called ``sd``; a value that is not known is null, never NaN.
"""

from __future__ import annotations

import json
import math
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, is_dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from afterclamp.io.errors import several

from .wording import (
    NONE,
    half_width,
    length,
    number,
    plus_minus,
    unit_name,
)

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure
    from afterclamp.io.case import Case
    from afterclamp.io.identity import Found

    from .checks import Check

Row = dict[str, Any]


def plain(value: Any) -> Any:
    """Only what JSON has: arrays to lists, NaN and infinity to null, dataclasses to objects."""
    if isinstance(value, (str, bool)) or value is None:
        return value
    if isinstance(value, (np.bool_, np.integer)):
        return value.item()
    if isinstance(value, (int, float, np.floating)):
        number = float(value) if not isinstance(value, int) else value
        return number if math.isfinite(number) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, (set, frozenset)):
        return sorted(plain(item) for item in value)
    if isinstance(value, Iterable):
        return [plain(item) for item in value]
    return str(value)


def to_json(rows: Any) -> str:
    """One JSON document."""
    return json.dumps(plain(rows), ensure_ascii=False, allow_nan=False, indent=2)


def _width(text: str) -> int:
    """Columns of a terminal that a text takes."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text
    )


def table(headings: Sequence[str], rows: Sequence[Sequence[str]], right: str = "") -> str:
    """Text in columns, two spaces apart.

    Parameters
    ----------
    headings : sequence of str
        One a column.
    rows : sequence of sequence of str
        Cells.
    right : str
        One character a column, ``">"`` where it is set flush right; the rest stands left.
    """
    widths = [max(_width(line[i]) for line in [headings, *rows]) for i in range(len(headings))]
    lines = []
    for line in [headings, *rows]:
        cells = [
            " " * (width - _width(cell)) + cell
            if right[i : i + 1] == ">"
            else cell + " " * (width - _width(cell))
            for i, (cell, width) in enumerate(zip(line, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)


# --- bring-in, channels, clocks -----------------------------------------------------------------------


def brought_in(case: Case, found: Iterable[Found] = (), *, keep_identity: bool = False) -> str:
    """What a bring-in made, for the person who started it.

    Parameters
    ----------
    case : Case
    found : iterable of Found
        What says who somebody is; told by place and kind, never what it is.
    keep_identity : bool
        Whether it was kept on purpose.
    """
    from afterclamp.io.scrub import DATE_KEY

    from .kept_out import summary

    lines = [
        f"{case.folder}: {several(len(case.sources), 'source')}, {several(len(case.channels), 'channel')}, "
        f"{several(len(case.notes), 'note')}"
    ]
    for source in case.sources:
        own = sum(channel.source == source.name for channel in case.channels)
        told = "reference clock" if source.is_reference else f"clock {source.clock.method}"
        lines.append(f"  {source.name} ({source.reader}): {several(own, 'channel')}, {told}")
        lines += [f"    set aside: {what}" for what in source.set_aside]
        if DATE_KEY in source.about:
            lines.append(f"    date: {source.about[DATE_KEY]}")
    return "\n".join([*lines, *summary(found, keep_identity=keep_identity)])


def channel_rows(case: Case) -> list[Row]:
    """One row a channel."""
    rows = []
    for channel in case.channels:
        interval = channel.interval_s
        rows.append(
            {
                "id": channel.id,
                "name": channel.name,
                "plain_name": channel.plain_name,
                "label": channel.label,
                "source": channel.source,
                "kind": channel.kind,
                "site": channel.site,
                "side": channel.side,
                "statistic": channel.statistic,
                "unit": channel.unit,
                "unit_as_written": channel.unit_as_written,
                "rate_hz": 1.0 / interval if interval > 0 else None,
                "start_s": channel.span.start,
                "end_s": channel.span.end,
                "samples": channel.count,
                "missing_s": max(channel.span.duration - channel.recorded_s, 0.0),
            }
        )
    return rows


def channels(case: Case, rows: Sequence[Row]) -> str:
    """Channels as a table."""
    cells = [
        (
            row["plain_name"],
            row["id"],
            unit_name(row["unit"])
            or ("not known" if row["unit_as_written"] == "" else f"{row['unit_as_written']} (?)"),
            _rate(row["rate_hz"]),
            f"{case.clock_text(row['start_s'])}–{case.clock_text(row['end_s'])}",
            length(row["end_s"] - row["start_s"]),
            f"{row['missing_s']:.0f} s",
        )
        for row in rows
    ]
    return table(("channel", "id", "unit", "rate", "reference clock", "min:s", "missing"), cells, "<<<><>>")


def _rate(rate_hz: float | None) -> str:
    if rate_hz is None:
        return NONE
    return f"{rate_hz:g} Hz" if rate_hz >= 1 else f"every {1 / rate_hz:g} s"


def clock_rows(case: Case) -> list[Row]:
    """One row a source: offset at reference time 0, drift, standard deviation, steps."""
    return [
        {
            "source": source.name,
            "offset_s": source.clock.offset_s,
            "drift_ppm": source.clock.pieces[0].drift_ppm,
            "sd_s": source.clock.pieces[0].sd_s,
            "steps": [{"at_s": at, "by_s": by} for at, by in clock_steps(case, source.name)],
            "method": source.clock.method,
            "runs": source.runs,
        }
        for source in case.sources
    ]


def clock_steps(case: Case, source: str) -> list[tuple[float, float]]:
    """Reference time and size of each step of a source's clock.

    A step between two runs of stamps has no source second of its own: it is where the later run's
    first sample stands.
    """
    clock = next(one.clock for one in case.sources if one.name == source)
    steps = []
    for (at, by), piece in zip(clock.steps, clock.pieces[1:], strict=True):
        if not math.isfinite(at):
            starts = [channel.run_start(piece.run) for channel in case.channels if channel.source == source]
            at = min((start for start in starts if start is not None), default=math.nan)
        steps.append((at, by))
    return steps


def clocks(case: Case, rows: Sequence[Row]) -> str:
    """Clocks as a table, ± as 95 % intervals."""
    cells = []
    for row in rows:
        if row["method"] == "unset":
            offset = f"taken as written, {spread(math.inf)}"
        else:
            within = "" if row["method"] == "reference" else f" {spread(half_width(row['sd_s']))}"
            offset = f"{_signed(row['offset_s'], 1)} s{within}"
        steps = "; ".join(
            f"{_signed(step['by_s'], 1)} s at {case.clock_text(step['at_s']) if math.isfinite(step['at_s']) else '?'}"
            for step in row["steps"]
        )
        cells.append(
            (row["source"], offset, f"{_signed(row['drift_ppm'], 0)} ppm", steps or "none", row["method"])
        )
    text = table(("source", "ahead of the reference by", "drift", "steps", "set"), cells, "<<><<")
    return f"{text}\nOffsets are at reference time 0; ± is a 95 % interval."


def spread(half_width_s: float) -> str:
    """A ± in words for a table: where it is without limit nobody set the clock that the time rests on."""
    return "± unknown (clock not set)" if half_width_s == math.inf else plus_minus(half_width_s)


def _signed(value: float, digits: int) -> str:
    text = number(value, digits)
    return text if text.startswith("−") or value == 0 else f"+{text}"


# --- figures ------------------------------------------------------------------------------------------


def figure_rows(found: Sequence[Figure]) -> list[Row]:
    """One row a figure, with measure and phase."""
    return [figure.to_dict() for figure in found]


def numbered(notes: Iterable[str]) -> list[str]:
    """Notes with the numbers of the rows that they belong to; one that several rows share stands once."""
    rows: dict[str, list[str]] = {}
    for row, note in enumerate(notes, start=1):
        if note:
            rows.setdefault(note, []).append(str(row))
    return [f"  {', '.join(numbers)}  {note}" for note, numbers in rows.items()]


# --- check --------------------------------------------------------------------------------------------


def checks(found: Sequence[Check]) -> str:
    """What was checked, one line each."""
    return "\n".join(
        f"{'asks ' if row.asks else 'holds' if row.ok else 'LOOK '}  {row.what}: {row.found}"
        f"{f' {row.todo}' if row.asks else ''}"
        for row in found
    )
