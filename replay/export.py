"""A case as CSV tables: traces at one value a second, quality, finds, phases, marks, figures, and their note.

RFC 4180, UTF-8, units in the headings as UCUM, times in seconds of the reference clock and no dates. The
folder appears whole or not at all.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from afterclamp.annotate.series import MASKED, MISSING, StateArray
from afterclamp.io.errors import CannotWrite
from afterclamp.io.whole import written_whole

from .footing import export_footing, numbers_note, states_of
from .label_rows import DECISIONS, LABELS, decision_rows, label_rows, origin_of
from .mask_words import OF_EXPORTS
from .quality_rows import CHANNELS, DENOMINATOR, QUALITY, channel_quality, quality_rows, spans_of
from .wording import half_width

if TYPE_CHECKING:
    from afterclamp.annotate.phase_model import Boundary, Phase
    from afterclamp.io.case import Case

NOTE = "NOTE.txt"

Progress = Callable[[float, str], None]


def export_tables(
    case: Case, out: Path, *, progress: Progress | None = None, day: date | None = None
) -> list[Path]:
    """Write every table of a case into a new folder.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time.
    out : Path
        The folder; it must not hold anything yet.
    progress : callable, optional
        ``progress(share, text)``.
    day : date, optional
        Put into the note; today when None.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    CannotWrite
        When the folder holds something, or cannot be written; nothing is left then.
    """
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise CannotWrite("is there already and holds something", path=out, todo="Give a new folder")
    tell = progress or _silent
    tables = _tables(case, tell, day or date.today())
    with written_whole(
        out,
        parents=True,
        what="the tables could not be written",
        todo="Make room or get permission to write there, then export again",
    ) as partial:
        partial.mkdir()
        for name, text in tables.items():
            (partial / name).write_text(text, "utf-8", newline="")
    tell(1.0, "done")
    return [out / name for name in tables]


def _tables(case: Case, tell: Progress, day: date) -> dict[str, str]:
    from afterclamp.annotate.figures import figures
    from afterclamp.annotate.finds import find
    from afterclamp.annotate.marks import marks, verdicts
    from afterclamp.annotate.phases import phases
    from afterclamp.annotate.verdicts import find_copy

    tell(0.0, "phases")
    found_phases = phases(case)
    tell(0.2, "finds")
    found = find(case)
    said = verdicts(case, tuple(found))
    tell(0.5, "figures")
    computed = figures(case)
    tell(0.8, "traces")
    states = states_of(case)
    tell(0.9, "quality")
    spans = spans_of(case)
    footing = export_footing(case, states, said, len(found))
    return {
        "traces-1hz.csv": traces(case),
        "not-believed-1hz.csv": _not_believed(case, states),
        "phases.csv": _phases(found_phases),
        "finds.csv": _csv(
            (
                "code",
                "name",
                "start [s]",
                "end [s]",
                "channels",
                "site",
                "plain [1]",
                "linked",
                "decisions",
                "rule",
                "key",
                "subtype",
                "unc95 [s]",
                "rule version",
            ),
            (
                (
                    one.code,
                    one.name,
                    one.start_s,
                    one.end_s,
                    " ".join(one.channels),
                    one.site,
                    one.confidence,
                    " ".join(dict.fromkeys(link.code for link in one.linked if link.code)),
                    "; ".join(f"{v.words} by {v.author}" for v in said.get(one.key, ())),
                    one.evidence.get("rule", ""),
                    one.key,
                    one.subtype,
                    one.unc_s,
                    find_copy(one)["version"],
                )
                for one in found
            ),
        ),
        "marks.csv": _csv(
            (
                "id",
                "author",
                "kind",
                "code",
                "text",
                "start [s]",
                "end [s]",
                "channels",
                "confidence [%]",
                "subtype",
                "site",
                "origin",
                "unc95 [s]",
            ),
            (
                (
                    m.id,
                    m.author,
                    m.kind,
                    m.code,
                    m.text,
                    m.start_s,
                    m.end_s,
                    " ".join(m.channels),
                    m.confidence,
                    m.subtype,
                    m.site,
                    origin_of(m),
                    m.unc_s,
                )
                for m in marks(case)
            ),
        ),
        "labels.csv": _named(LABELS, label_rows(case)),
        "decisions.csv": _named(DECISIONS, decision_rows(case)),
        "figures.csv": _figures(computed),
        "notes.csv": _csv(
            ("time [s]", "unc95 [s]", "end [s]", "source", "text"),
            ((n.t, half_width(n.sd_s), n.t_end, n.source, n.text) for n in case.notes),
        ),
        "quality.csv": _named(QUALITY, quality_rows(case, spans)),
        "channels.csv": _named(CHANNELS, channel_quality(case, spans)),
        NOTE: _note(footing.text(day), numbers_note(case)),
    }


def _phases(found: Sequence[Phase]) -> str:
    """One row a phase: each end with its ±, what gave it, whose it is, and what else it could be as JSON."""
    return _csv(
        (
            "name", "parent", "index", "start [s]", "start_unc95 [s]", "end [s]", "end_unc95 [s]", "by", "confirmed_by",
            "source_rule", "start_value", "start_channel", "start_by", "start_recorded", "end_value", "end_channel",
            "end_by", "end_recorded", "alternatives_json",
        ),
        (
            (
                p.name, p.parent, p.index, p.start_s, p.start.unc_s, p.end_s, p.end.unc_s, p.source, p.confirmed_by,
                p.rule, *_end(p.start, p.ends_by[0]), *_end(p.end, p.ends_by[1]),
                json.dumps({"start": p.start.alternatives, "end": p.end.alternatives}, ensure_ascii=False),
            )
            for p in found
        ),
    )  # fmt: skip


def _end(end: Boundary, author: str) -> tuple[Any, ...]:
    return end.value, end.channel, author, "yes" if end.recorded else "no: the record is at its end there"


def traces(case: Case) -> str:
    """Mean of each second of every channel, as recorded: nothing masked, empty where nothing was recorded."""
    channels = [channel for channel in case.channels if channel.count]
    headings = ["time [s]", *(f"{channel.id} {channel.name} [{channel.unit or '?'}]" for channel in channels)]
    columns = [channel.seconds() for channel in channels]
    rows = ((int(t), *(_short(column[i]) for column in columns)) for i, t in enumerate(case.grid))
    return _csv(headings, rows)


def _not_believed(case: Case, states: Mapping[str, StateArray]) -> str:
    """Seconds that were recorded and that no figure uses: one row each, so that the traces stay as recorded."""
    rows = []
    for channel in case.channels:
        if channel.id not in states:
            continue
        state, recorded = states[channel.id], np.isfinite(channel.seconds())
        for code, word in ((MASKED, "artefact"), (MISSING, "off scale, frozen or not connected")):
            rows += [
                (int(case.grid[i]), channel.id, word) for i in np.flatnonzero((state == code) & recorded)
            ]
    return _csv(("time [s]", "channel", "why"), sorted(rows))


def _figures(computed: Sequence[Any]) -> str:
    from .tables import figure_rows

    rows = figure_rows(computed)
    headings = list(dict.fromkeys(name for row in rows for name in row)) or ["measure"]
    titled = [f"{name.removesuffix('_s')} [s]" if name.endswith("_s") else name for name in headings]
    return _csv(titled, (tuple(row.get(name) for name in headings) for row in rows))


def _named(names: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> str:
    """Rows under names that other programs rely on: units stand in the names."""
    return _csv(names, (tuple(row[name] for name in names) for row in rows))


def _short(value: float) -> str:
    return f"{value:.6g}" if np.isfinite(value) else ""


def _csv(headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(headings)
    for row in rows:
        writer.writerow([_cell(cell) for cell in row])
    return out.getvalue()


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.10g}" if np.isfinite(value) else ""
    if isinstance(value, (list, tuple)):
        return "; ".join(
            "-".join(map(str, part)) if isinstance(part, (list, tuple)) else str(part) for part in value
        )
    return value


def _note(footer: str, numbers: str) -> str:
    return (
        f"{footer}\n\n"
        "This note belongs to every file of this folder.\n\n"
        "Times are seconds of the reference clock, counted from its first sample. unc95 is the half-width of a\n"
        "95 % interval; it is empty where that is not known, as while the clock of a source is not set. Traces are\n"
        "as recorded, the mean of each second; seconds that no figure uses stand in not-believed-1hz.csv. An empty\n"
        "cell means not recorded. Units are UCUM. finds.csv holds what rules propose, labels.csv what people say, in\n"
        "every version with its origin (by hand, from a rule's find, merged from several), decisions.csv what they\n"
        "decided on the finds; t0_unc_s and t1_unc_s are one standard deviation. phases.csv says of each end in\n"
        "start_by and end_by who set it; where these are empty it is a proposal by the rule named there.\n"
        f"{numbers}"
        f"{DENOMINATOR}\n"
        f"{OF_EXPORTS}"
    )


def _silent(share: float, text: str) -> None:
    """Nobody wants to know how far it is."""
