"""The quality of every channel as rows: the tables ``quality`` and ``channels`` of an export, and what is printed.

Names are relied on by other programs and only ever added. Times are seconds of the reference clock.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from .tables import table

if TYPE_CHECKING:
    from afterclamp.annotate.quality_spans import QualitySpan
    from afterclamp.io.case import Case, Channel

Row = dict[str, Any]
ROUNDING = 1e-6  # s; what the arithmetic of a clock may leave
Spans = Mapping[str, "list[QualitySpan]"]

QUALITY = ("case_id", "channel_id", "t0_s", "t1_s", "qclass", "acode", "origin", "rater_id", "reason")
CHANNELS = (
    *(
        "case_id",
        "channel_id",
        "source_id",
        "kind",
        "site",
        "side",
        "unit_ucum",
        "nominal_hz",
        "t0_s",
        "t1_s",
    ),
    *("missing_pct", "q0_pct", "q1_pct", "q2_pct", "q3_pct", "believed_s", "q9_pct", "of_s"),
)
DENOMINATOR = (
    "Percentages of channels.csv are of its of_s, the whole seconds that t0_s to t1_s touch: missing_pct is class Q4\n"
    "(missing, frozen or withdrawn), and with q0_pct to q3_pct and q9_pct (not judged) it makes 100. believed_s is\n"
    "for how long figures go by that arterial line; one that only stands in has none. Every second of the case stands\n"
    "once for each channel in quality.csv; what people hid or believe has origin human. case_id comes of the files\n"
    "that were brought in, and is the same whatever is decided in the case."
)
"""What the numbers are of, for the note of an export."""


def spans_of(case: Case) -> dict[str, list[QualitySpan]]:
    """Quality of every channel that holds something, by its id."""
    from afterclamp.annotate.quality_spans import quality_spans

    return {channel.id: quality_spans(channel, case.grid) for channel in case.channels if channel.count}


def case_id(case: Case) -> str:
    """Twelve characters that stand for what was brought in: no name of a folder, and no edit, changes them."""
    files = sorted(f"{source.name}\0{sha}" for source in case.sources for _, sha in source.files)
    return hashlib.sha256("\n".join(files).encode()).hexdigest()[:12]


def quality_rows(case: Case, spans: Spans) -> list[Row]:
    """One row a stretch, by the names of `QUALITY`."""
    name = case_id(case)
    return [{"case_id": name, **_of_span(key, one)} for key, found in spans.items() for one in found]


def _of_span(channel: str, one: QualitySpan) -> Row:
    return {
        "channel_id": channel,
        "t0_s": one.start_s,
        "t1_s": one.end_s,
        "qclass": f"Q{one.qclass}",
        "acode": one.acode,
        "origin": one.origin,
        "rater_id": one.rater,
        "reason": one.reason,
    }


def channel_quality(case: Case, spans: Spans) -> list[Row]:
    """One row a channel, by the names of `CHANNELS`."""
    name, believed = case_id(case), believed_seconds(case)
    rows = []
    for channel in case.channels:
        if channel.id not in spans:
            continue
        span, seconds = channel.span, seconds_of(channel, spans[channel.id])
        of = sum(seconds.values())

        def share(number: int, seconds: dict[int, float] = seconds, of: float = of) -> float | None:
            return round(100 * seconds[number] / of, 3) if of else None

        rows.append(
            {
                "case_id": name,
                "channel_id": channel.id,
                "source_id": channel.source,
                "kind": channel.kind,
                "site": channel.site,
                "side": channel.side,
                "unit_ucum": channel.unit,
                "nominal_hz": round(1 / channel.interval_s, 6) if channel.interval_s > 0 else None,
                "t0_s": span.start,
                "t1_s": span.end,
                "missing_pct": share(4),
                **{f"q{number}_pct": share(number) for number in (0, 1, 2, 3)},
                "believed_s": believed.get(channel.id, 0.0),
                "q9_pct": share(9),
                "of_s": of,
            }
        )
    return rows


def seconds_of(channel: Channel, spans: Sequence[QualitySpan]) -> dict[int, float]:
    """Seconds of each class from a channel's first second to its last one."""
    from afterclamp.annotate.quality import CLASS_WORDS

    first, last = math.floor(channel.span.start + ROUNDING), math.ceil(channel.span.end - ROUNDING)
    found = dict.fromkeys(CLASS_WORDS, 0.0)
    for one in spans:
        found[one.qclass] += max(0.0, min(one.end_s, last) - max(one.start_s, first))
    return found


def believed_seconds(case: Case) -> dict[str, float]:
    """For how many seconds an arterial line is the one that is believed, by channel id; stand-ins are not."""
    from afterclamp.annotate.named import signals
    from afterclamp.annotate.trust import trust_strip
    from afterclamp.annotate.trust_rules import BELIEVED, CHOSEN

    named, found = signals(case), dict[str, float]()
    for one in trust_strip(case).spans:
        signal = named.get(one.line)
        if signal is None or one.standing not in (BELIEVED, CHOSEN):
            continue
        for channel in signal.channels:
            shared = min(one.end_s, channel.span.end) - max(one.start_s, channel.span.start)
            found[channel.id] = found.get(channel.id, 0.0) + max(0.0, shared)
    return {key: round(value, 3) for key, value in found.items()}


# -- what is printed -------------------------------------------------------------------------------


def printed_rows(case: Case, spans: Spans) -> list[Row]:
    """One row a channel: seconds of each class, and of each reason in it, with the stretches."""
    rows = []
    for channel in case.channels:
        if channel.id not in spans:
            continue
        found = spans[channel.id]
        seconds = seconds_of(channel, found)
        rows.append(
            {
                "channel_id": channel.id,
                "name": channel.name,
                "plain_name": channel.plain_name,
                "of_s": sum(seconds.values()),
                **{f"q{number}_s": value for number, value in seconds.items()},
                "reasons": _reasons(channel, found),
                "spans": [_of_span(channel.id, one) for one in found],
            }
        )
    return rows


def _reasons(channel: Channel, spans: Sequence[QualitySpan]) -> list[Row]:
    """Seconds of each reason, in the order of the classes and then of time."""
    found: dict[tuple[int, str, str, str], list[QualitySpan]] = {}
    for one in sorted(spans, key=lambda one: (one.qclass, one.start_s)):
        if one.reason:
            found.setdefault((one.qclass, one.acode, one.reason, one.rater), []).append(one)
    rows = []
    for (number, code, reason, rater), whole in found.items():
        those = [one for one in whole if sum(seconds_of(channel, [one]).values())]
        if those:
            rows.append(
                {
                    "qclass": f"Q{number}",
                    "acode": code,
                    "reason": reason,
                    "rater_id": rater,
                    "seconds": sum(seconds_of(channel, those).values()),
                    "spans": len(those),
                }
            )
    return rows


def quality_text(rows: Sequence[Row]) -> str:
    """The same as a table: a line for each class that a channel has, and one for each reason of it."""
    from afterclamp.annotate.quality import CLASS_WORDS

    cells = []
    for row in rows:
        named = row["plain_name"]
        twins = sum(other["plain_name"] == named for other in rows)
        named = f"{named} ({row['channel_id']})" if twins > 1 else named
        for number_, words in CLASS_WORDS.items():
            seconds = row[f"q{number_}_s"]
            if not seconds:
                continue
            share = f"{100 * seconds / row['of_s']:.1f} %"
            cells.append(
                (named, f"Q{number_} {words}", f"{seconds:.0f} s", f"of {row['of_s']:.0f} s", share, "")
            )
            named = ""
            cells += [
                ("", "", f"{one['seconds']:.0f} s", "", "", _reason_words(one))
                for one in row["reasons"]
                if one["qclass"] == f"Q{number_}"
            ]
    if not cells:
        return "No channel holds a value."
    headings = ("channel", "class", "seconds", "of", "share", "reason")
    return f"{table(headings, cells, '<<>>><')}\n\n{WORDS}"


def _reason_words(one: Row) -> str:
    stretches = f" ({one['spans']} stretches)" if one["spans"] > 1 else ""
    return f"{one['acode']} {one['reason']}".strip() + stretches


WORDS = (
    "Each second has one class, the strongest that reaches into it, by what rules see and what people hid or believe.\n"
    "Seconds are counted from a channel's first sample to its last."
)
