"""Lengths of time that a team reports: of a phase's parts their sum, their union and from first to last, with ±."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .order import Z95, or_none
from .phase_model import NAMES, Boundary, Phase

AT_LEAST = "at least, the record begins or ends within it: "


@dataclass(frozen=True)
class Duration:
    """A reported length of time.

    Attributes
    ----------
    name : str
        Plain name.
    total_s : float
        Seconds, the sum of `each`.
    unc_s : float
        Half width of the 95 % interval of the sum, seconds; infinite where it is not known.
    each : tuple of (start_s, end_s, seconds, unc_s)
        Its parts in order.
    method : str
        How it is counted.
    at_least : bool
        Whether the record begins or ends within a part of it, so that the true length is not recorded.
    union_s : float
        Seconds that lie in any part: less than the sum where parts lie over each other.
    first_to_last_s, first_to_last_unc_s : float
        From the start of the first part to the end of the last, interruptions included, and its ±.
    confirmed : bool
        Whether a person set every boundary of it.
    """

    name: str
    total_s: float
    unc_s: float
    each: tuple[tuple[float, float, float, float], ...]
    method: str
    at_least: bool = False
    union_s: float = float("nan")
    first_to_last_s: float = float("nan")
    first_to_last_unc_s: float = float("nan")
    confirmed: bool = False

    @property
    def before_number(self) -> str:
        """What stands before its number wherever that is printed: ``"at least "``, or nothing."""
        return "at least " if self.at_least else ""

    def to_json(self) -> dict[str, Any]:
        """As plain values; a ± that is not known is null."""
        return {
            "name": self.name,
            "total_s": self.total_s,
            "unc_s": or_none(self.unc_s),
            "each": [
                {"start_s": start_s, "end_s": end_s, "s": seconds, "unc_s": or_none(unc_s)}
                for start_s, end_s, seconds, unc_s in self.each
            ],
            "method": self.method,
            "at_least": self.at_least,
            "union_s": or_none(self.union_s),
            "first_to_last_s": or_none(self.first_to_last_s),
            "first_to_last_unc_s": or_none(self.first_to_last_unc_s),
            "confirmed": self.confirmed,
        }


_SUMS = (
    ("bypass", "sum of the times on bypass, arrests included"),
    ("clamp", "sum of the times under the clamp"),
    ("no_flow_arrest", "sum of the stretches without any flow"),
    ("lower_body_arrest", "sum of the stretches without flow to the lower body"),
    ("selective_cerebral", "sum of the stretches with the head perfused alone"),
    ("reperfusion", "from an arrest's end to the next arrest, to warming or to weaning"),
    ("warming", "from outlet above venous to the core's target or to weaning"),
    ("weaning", "from the last level of flow to no flow"),
    ("cold_steady", "core colder than 34 °C and steady, up to warming"),
)


def durations(found: Iterable[Phase]) -> dict[str, Duration]:
    """Times that a team reports, each with start, end and ±.

    Parameters
    ----------
    found : iterable of Phase
        As `phases.phases` gives them.

    Returns
    -------
    dict of str to Duration
        ``bypass``, ``bypass_net_of_no_flow``, ``clamp``, ``clamp_longest``, ``no_flow_arrest``,
        ``no_flow_longest``, ``brain_without_flow``, ``lower_body_arrest``, ``selective_cerebral``,
        ``reperfusion``, ``cooling`` (start to the first arrest), ``cold_steady``, ``warming``, ``weaning``,
        ``clamp_off_to_off_bypass``, ``off_to_protamine``. A time that has no phase is left out. The longest of
        several stands only where there are several.

    Notes
    -----
    Bypass time is the sum of the on-periods with the arrests in them, and separately without the
    seconds of no flow; arrest with and without flow to the head are counted apart (definitions of the
    surgical databases, from memory). The time that the brain was without flow is that of no flow at all: the
    stretches with the head perfused alone are not in it. Two boundaries of one source share its clock's error,
    so it does not add to the length between them, unless that clock was set in between (see `length_sd`).
    """
    by_name: dict[str, list[Phase]] = {}
    for phase in found:
        by_name.setdefault(phase.name, []).append(phase)
    out: dict[str, Duration] = {}
    for name, words in _SUMS:
        own = by_name.get(name)
        if own:
            out[name] = _summed(NAMES[name], own, words)
        if name in _LONGEST and own and len(own) > 1:
            longest = max(own, key=lambda phase: phase.duration_s)
            token, plain = _LONGEST[name]
            out[token] = _summed(plain, [longest], f"the longest of {len(own)}")
    if "bypass" in out:
        out["bypass_net_of_no_flow"] = _net(out["bypass"], out.get("no_flow_arrest"))
    if "no_flow_arrest" in out:
        out["brain_without_flow"] = _brain(out["no_flow_arrest"], by_name.get("selective_cerebral", []))
    cooling, arrested = by_name.get("cooling"), by_name.get("lower_body_arrest")
    if cooling and arrested and arrested[0].start_s > cooling[0].start_s:
        out["cooling"] = between(
            "cooling to the first arrest", cooling[0].start, arrested[0].start,
            "from cooling's start to the first arrest", _by_person(cooling[0], arrested[0]),
        )  # fmt: skip
    elif cooling:
        out["cooling"] = _summed("cooling", cooling, "sum of the coolings; no arrest followed")
    clamps, bypasses = by_name.get("clamp"), by_name.get("bypass")
    if clamps and bypasses:
        last = clamps[-1]
        around = next((one for one in bypasses if one.start_s <= last.end_s < one.end_s), None)
        if around is not None and last.end.recorded:
            out["clamp_off_to_off_bypass"] = between(
                "clamp off to off bypass", last.end, around.end, "from the last clamp off to the end of that bypass",
                _by_person(last, around),
            )  # fmt: skip
    given = by_name.get("protamine")
    ended = [one for one in bypasses or () if one.end.recorded and given and one.end_s <= given[0].start_s]
    if given and ended:
        out["off_to_protamine"] = between(
            "off bypass to protamine", ended[-1].end, given[0].start,
            "from the end of bypass to the first protamine behind it", _by_person(ended[-1], given[0]),
        )  # fmt: skip
    return out


_LONGEST = {
    "clamp": ("clamp_longest", "longest cross-clamp"),
    "no_flow_arrest": ("no_flow_longest", "longest arrest, no flow"),
}


def _by_person(*phases: Phase) -> bool:
    return all(all(phase.ends_by) for phase in phases)


def _net(bypass: Duration, still: Duration | None) -> Duration:
    """Bypass without the seconds of no flow."""
    off = still.total_s if still else 0.0
    return Duration(
        "bypass net of no flow",
        bypass.total_s - off,
        float(np.hypot(bypass.unc_s, still.unc_s if still else 0.0)),
        bypass.each,
        f"{AT_LEAST if bypass.at_least else ''}bypass less the stretches without any flow",
        bypass.at_least,
        bypass.union_s - (still.union_s if still else 0.0),
        bypass.first_to_last_s,
        bypass.first_to_last_unc_s,
        bypass.confirmed and (still is None or still.confirmed),
    )


def _brain(still: Duration, perfused: Sequence[Phase]) -> Duration:
    """The seconds of no flow less those in which the head was perfused alone, which lie beside them as a rule."""
    parts = [(start, end) for start, end, *_ in still.each]
    both = _union(parts) + _union((one.start_s, one.end_s) for one in perfused)
    shared = both - _union([*parts, *((one.start_s, one.end_s) for one in perfused)])
    total = still.union_s - shared
    return replace(
        still, name="brain without flow", total_s=total, union_s=total,
        method=f"{AT_LEAST if still.at_least else ''}no flow, less the head perfused alone where both are marked",
    )  # fmt: skip


def between(name: str, start: Boundary, end: Boundary, method: str, confirmed: bool = False) -> Duration:
    """The time between two boundaries of any phases."""
    return _of_pairs(name, [(start, end)], method, confirmed)


def _summed(name: str, phases: Sequence[Phase], method: str) -> Duration:
    return _of_pairs(name, [(one.start, one.end) for one in phases], method, _by_person(*phases))


def _of_pairs(
    name: str, pairs: Sequence[tuple[Boundary, Boundary]], method: str, confirmed: bool
) -> Duration:
    each = []
    for start, end in pairs:
        length = end.time_s - start.time_s
        each.append((start.time_s, end.time_s, length, Z95 * length_sd(start, end)))
    total = float(sum(part[2] for part in each))
    unc = float(np.sqrt(sum(part[3] ** 2 for part in each)))
    at_least = not all(end.recorded for pair in pairs for end in pair)
    first = min((start for start, _ in pairs), key=lambda one: one.time_s)
    last = max((end for _, end in pairs), key=lambda one: one.time_s)
    return Duration(
        name,
        total,
        unc,
        tuple(each),
        f"{AT_LEAST if at_least else ''}{method}",
        at_least,
        union_s=_union([(start.time_s, end.time_s) for start, end in pairs]),
        first_to_last_s=last.time_s - first.time_s,
        first_to_last_unc_s=Z95 * length_sd(first, last),
        confirmed=confirmed,
    )


def _union(parts: Iterable[tuple[float, float]]) -> float:
    """Seconds that lie in any of some stretches."""
    total, reached = 0.0, -np.inf
    for start, end in sorted(parts):
        total += max(0.0, end - max(start, reached))
        reached = max(reached, end)
    return float(total)


def length_sd(start: Boundary, end: Boundary) -> float:
    """Standard deviation of the time between two boundaries, seconds.

    The error of one clock does not add where both lie on the same piece of it; across a step of that
    clock, or between two sources, it does. Infinite where a clock that it rests on was set by nobody.
    """
    apart = start.sampling_sd_s**2 + end.sampling_sd_s**2
    if not start.source or (start.source, start.clock_piece) != (end.source, end.clock_piece):
        apart += start.clock_sd_s**2 + end.clock_sd_s**2
    return float(np.sqrt(apart))
