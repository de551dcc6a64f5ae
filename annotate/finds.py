"""Finds: every rule run on a case, suppressed where it must be, linked, and never silent about what is missing."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, overload

import numpy as np

from .inconsistencies import Inconsistency, inconsistencies_of
from .order import Z95, half_width, not_set
from .phases import phases
from .rules import RULES, Find, Link, Rule
from .site import StandIn, stand_ins
from .view import View

if TYPE_CHECKING:
    import pandas as pd
    from afterclamp.io.case import Case

    from .limits import LimitSet

__all__ = ["Find", "Finds", "edited_limits", "find", "find_in", "linked_up", "numbers"]

SAME_FALL = frozenset({"E01", "E02", "E04", "E13", "E27", "E28"})
"""Classes that can be one and the same fall of the pressure, seen by two rules."""
STOPS = frozenset({"E07", "E08", "E10", "E17", "E18"})
"""Classes that a low pressure or a collapse on bypass may be preceded by."""
FALLS = frozenset({"E01", "E02", "E13"})
"""Low pressures and collapses."""
GOES_BEFORE: Mapping[str, frozenset[str]] = {
    **dict.fromkeys(FALLS, STOPS),
    "E19": frozenset({"E07", "E08", "E09", "E10", "E13", "E17"}),
    "E20": frozenset({"E18", "E21"}),
    "E25": frozenset({"E06"}),
}
"""What each of these classes may be preceded by; of two such finds the lag is told, never a cause."""
MEANWHILE = frozenset({"E07", "E08", "E10"})
"""Stops that may begin while a pressure is low already, and take it lower."""
LASTING = frozenset({"E06", "E09", "E13", "E17", "E18"})
"""Classes that go before whatever of `FOLLOWS_S` begins while they last, however long after their own beginning."""
FOLLOWS_S: Mapping[str, float] = {"E19": 180.0, "E20": 180.0, "E25": 180.0}
"""How long before one of these the other may have begun: a saturation follows within three minutes."""
LEAD_S = (
    5.0  # by which a fall may begin before the flow is under its limit: both begin with the flow's own fall
)
BEFORE_S = 120.0  # how long before a low pressure one of them may have ended or begun


@dataclass(frozen=True)
class Finds(Sequence[Find]):
    """What the rules propose for a case, in order of time.

    Attributes
    ----------
    finds : tuple of Find
    not_looked_for : tuple of str
        Rules that could not be asked and why: ``"E17 not looked for: no pump flow"``; and numbers that a
        limit wanted to change and that are the same in every case.
    held_back : tuple of Find
        What a rule saw and did not put forward, each with its reason.
    site : str
        The believed arterial site, empty if there is none.
    site_reason : str
        Why.
    asked : tuple of Inconsistency
        What cannot all be as it stands, of phases and of what was said (`inconsistencies`).
    """

    finds: tuple[Find, ...]
    not_looked_for: tuple[str, ...] = ()
    held_back: tuple[Find, ...] = ()
    site: str = ""
    site_reason: str = ""
    asked: tuple[Inconsistency, ...] = ()

    @overload
    def __getitem__(self, index: int) -> Find: ...

    @overload
    def __getitem__(self, index: slice) -> tuple[Find, ...]: ...

    def __getitem__(self, index: int | slice) -> Find | tuple[Find, ...]:
        return self.finds[index]

    def __len__(self) -> int:
        return len(self.finds)

    def __iter__(self) -> Iterator[Find]:
        return iter(self.finds)

    def of(self, *codes: str) -> tuple[Find, ...]:
        """Finds of these classes."""
        return tuple(one for one in self.finds if one.code in codes)

    def to_json(self) -> list[dict[str, Any]]:
        """Every find as plain values, in order: `Find.to_json`, times in seconds of the reference clock.

        The command line prints the same rows. What was not looked for and what was held back is not in it.
        """
        return [one.to_json() for one in self.finds]

    def to_frame(self) -> pd.DataFrame:
        """One row a find, without the evidence; ``unc_s`` is infinite where a clock is not set."""
        import pandas as pd

        columns = ["code", "name", "start_s", "end_s", "duration_s", "unc_s"]
        columns += ["channels", "site", "confidence", "key"]
        rows = [
            {
                **one.to_json(),
                "duration_s": one.duration_s,
                "unc_s": one.unc_s,
                "channels": " ".join(one.channels),
            }
            for one in self.finds
        ]
        return pd.DataFrame(rows, columns=columns)

    def __str__(self) -> str:
        lines = [
            f"{one.start_s:9.1f} {one.end_s:9.1f}  {one.code:4s} {one.name} ({', '.join(one.channels)}), "
            f"confidence {one.confidence:.2f}"
            for one in self.finds
        ]
        return "\n".join([*lines, *self.not_looked_for])


def find(
    case: Case, believe: str | None = None, limits: Mapping[str, float] | LimitSet | str | None = None
) -> Finds:
    """Look for every pattern of the catalogue in a case.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time.
    believe : str, optional
        Arterial site to go by instead of the believed one.
    limits : LimitSet, str or mapping, optional
        A set of limits, or its name or path, whose limits take the place of the rules' numbers
        (`limits.rule_limits`), or numbers by ``"E13.below"``. Either stands above the case's own
        ``limit`` edits. Without it the limits in force for the case count (`limits.in_force`), and above them
        its ``limit`` edits.

    Returns
    -------
    Finds
        Recomputed each time; what people said about earlier finds stands in the log
        (`marks.verdicts`).
    """
    from .limits import in_force, rule_limits

    view = View.of(case, believe)
    own = {} if limits is not None else rule_limits(*in_force(case))
    by_phase = phases(case, view)
    found = find_in(view.with_phases(by_phase), {**own, **edited_limits(case), **numbers(limits)})
    return replace(found, asked=tuple(inconsistencies_of(case, by_phase, view)))


def numbers(limits: Mapping[str, float] | LimitSet | str | None) -> dict[str, float]:
    """Numbers for rules by ``"E13.below"``, from a set of limits or as they are."""
    from .limits import LimitSet, rule_limits

    if limits is None or isinstance(limits, Mapping):
        return dict(limits or {})
    return rule_limits(LimitSet.load(limits) if isinstance(limits, str) else limits)


def edited_limits(case: Case) -> dict[str, float]:
    """Numbers that people changed in this case, by ``"E13.below"``.

    A ``limit`` edit that concerns a rule has the payload ``{"rule", "parameter", "value"}``; others
    belong to the figures.
    """
    return {
        f"{edit.payload['rule']}.{edit.payload['parameter']}": float(edit.payload["value"])
        for edit in case.log.standing("limit")
        if {"rule", "parameter", "value"} <= set(edit.payload)
    }


Raw = tuple[tuple[Find, ...], tuple[str, ...]]
"""What one rule gave by itself, neither told apart nor linked, and what of it could not be asked."""


def find_in(
    view: View,
    limits: Mapping[str, float] | None = None,
    rules: Sequence[Rule] = RULES,
    kept: dict[Hashable, Raw] | None = None,
) -> Finds:
    """The same on a view that has its phases laid in: no file is touched.

    While the believed line has no usable second, rules of the pressure are asked of the line that stands in
    (`site.stand_ins`), and where a person chose another line, of that one: a find names the site that it was
    judged at. What a rule gave on this view by the same numbers before is taken from `kept`, which is added to.
    """
    chosen = [one for one in view.chosen if one.name != view.believed]
    instead = [_judged_at(view, one) for one in (*stand_ins(view), *chosen)]
    believed = view.as_believed()
    found: list[Find] = []
    missing: list[str] = []
    for rule in rules:
        prefix = f"{rule.code}."
        own = {
            name.removeprefix(prefix): value
            for name, value in (limits or {}).items()
            if name.startswith(prefix)
        }
        missing += rule.refused(own)
        key = (rule.code, rule.name, *sorted(rule.values(own).items()))
        raw = kept.get(key) if kept is not None else None
        if raw is None:
            raw = _look_for(rule, rule.values(own), believed if "site" in rule.needs else view, instead)
            if kept is not None:
                kept[key] = raw
        found += raw[0]
        missing += raw[1]
    ordered = _told_apart(sorted(found, key=lambda one: (one.start_s, one.code, one.channels, one.end_s)))
    return Finds(
        linked_up([one for one in ordered if not one.held_back], view),
        tuple(missing),
        tuple(one for one in ordered if one.held_back),
        view.believed,
        view.believed_reason,
    )


def _look_for(rule: Rule, values: Mapping[str, float], seen: View, instead: Sequence[View]) -> Raw:
    """One rule asked of the view that it goes by, and of the lines that stand in for the believed one."""
    found: list[Find] = []
    by_others = [other for other in instead if "site" in rule.needs and not rule.missing(other)]
    for other in by_others:
        judged = [one for one in rule.find(other, values) if one.site == other.believed]
        found += [_on_its_clocks(_at_a_stand_in(one, other), rule, other) for one in judged]
    absent = rule.missing(seen)
    if absent and by_others:
        return tuple(found), tuple(rule.not_asked(by_others[0]))
    if absent:
        return tuple(found), (f"{rule.code} not looked for: {', '.join(absent)}",)
    missing = [*rule.not_asked(seen), *(rule.parts(seen, values) if rule.parts else ())]
    found += [_on_its_clocks(one, rule, seen) for one in rule.find(seen, values)]
    return tuple(found), tuple(missing)


def _judged_at(view: View, one: StandIn) -> View:
    """A view that believes the line that stands in, and shows of it nothing but the seconds in which it does."""
    shown = np.zeros(view.n, dtype=np.bool_)
    shown[one.start : one.stop] = True
    return replace(
        view,
        values={**view.values, one.name: np.where(shown, view.values[one.name], np.nan)},
        pulse={**view.pulse, one.name: np.where(shown, view.pulse[one.name], np.nan)},
        believed=one.name,
        believed_reason=one.reason,
    )


def _at_a_stand_in(one: Find, view: View) -> Find:
    """A find that says why it was judged at another line than the believed one."""
    return replace(one, evidence={**one.evidence, "believed": view.believed_reason})


def _told_apart(ordered: Sequence[Find]) -> list[Find]:
    """Finds that would have one key, such as two flushes within seconds, numbered in order of time."""
    seen: dict[str, int] = {}
    out = []
    for one in ordered:
        seen[one.key] = seen.get(one.key, 0) + 1
        out.append(replace(one, nth=seen[one.key]))
    return out


def _on_its_clocks(one: Find, rule: Rule, view: View) -> Find:
    """A find with the ± of its times, and said so where a clock that it rests on was set by nobody."""
    sources = {view.source.get(name, "") for name in one.channels}
    sds = {name: max(view.clock_at(name, at).sd_s for at in (one.start_s, one.end_s)) for name in sources}
    # The first channel is the one that its times are read from.
    sampled = view.interval.get(one.channels[0], 1.0) if one.channels else 1.0
    half = half_width(max(sds.values(), default=0.0), max(rule.grid_s, sampled) if rule.grid_s else 0.0)
    if rule.phase and view.phases:  # the phases go by the pump's clock
        pump = view.source.get("pump_flow", "")
        sds[pump] = max(sds.get(pump, 0.0), view.clock_at(pump, one.start_s).sd_s)
    unknown = sorted(name for name, sd in sds.items() if not np.isfinite(sd))
    if not unknown:
        return replace(one, unc_s=max(half, one.unc_s))
    words = "; ".join(not_set(name) for name in unknown)
    if len(sds) > 1:
        words += f": what {' and '.join(sorted(sds))} show cannot be ordered"
    return replace(one, unc_s=max(half, one.unc_s), evidence={**one.evidence, "clocks": words})


def linked_up(found: Sequence[Find], view: View) -> tuple[Find, ...]:
    """Finds with what belongs together named: the same fall, and what went before (`GOES_BEFORE`)."""
    out = []
    for one in found:
        links = list(one.linked)
        for other in found:
            if other is one:
                continue
            if "hyper" in (one.subtype, other.subtype):
                continue  # a high pressure is no fall
            if {one.code, other.code} <= SAME_FALL and one.code != other.code:
                shared = one.overlap_s(other)
                if shared >= 0.5 * min(one.duration_s, other.duration_s) and shared > 0:
                    lag = one.start_s - other.start_s
                    doubt = Z95 * view.sd_between(
                        one.channels[0], one.start_s, other.channels[0], other.start_s
                    )
                    known = bool(np.isfinite(doubt))
                    links.append(
                        Link(
                            "same fall as",
                            other.name,
                            other.code,
                            other.key,
                            lag if known else None,
                            ordered=not doubt or abs(lag) > doubt,
                            at_s=other.start_s,
                        )
                    )
            elif other.code in GOES_BEFORE.get(one.code, ()):
                link = _preceded(one, other, view) or _deepened(one, other, view)
                if link is not None:
                    links.append(link)
        out.append(replace(one, linked=tuple(links)))
    return tuple(out)


def _deepened(one: Find, other: Find, view: View) -> Link | None:
    """A link to a stop of the flow that began while a pressure was low already, and before it was lowest."""
    pressure = view.get(one.site)
    if one.code not in FALLS or other.code not in MEANWHILE or pressure is None:
        return None
    first, last = view.index(one.start_s), view.index(one.end_s)
    if not one.start_s < other.start_s < one.end_s or not np.isfinite(pressure[first:last]).any():
        return None
    lowest_s = view.time(first + int(np.nanargmin(pressure[first:last])))
    doubt = Z95 * view.sd_between(one.channels[0], lowest_s, other.channels[0], other.start_s)
    if not lowest_s > other.start_s:
        return None
    known = bool(np.isfinite(doubt))
    lag_s = one.start_s - other.start_s if known else None
    ordered = lowest_s - other.start_s > doubt
    return Link("lowest preceded by", other.name, other.code, other.key, lag_s, ordered, at_s=other.start_s)


def _preceded(one: Find, other: Find, view: View) -> Link | None:
    """A link to what began shortly before or still lasts, or, from a low pressure, to an arrest that just ended."""
    over = other.code in ("E17", "E18") and one.code in FALLS
    at = other.end_s if over else other.start_s
    lag = one.start_s - at
    doubt = Z95 * view.sd_between(one.channels[0], one.start_s, other.channels[0], at)
    # A doubt without bounds must not link what lies hours apart.
    lead = LEAD_S if one.code == "E02" else 0.0
    within = FOLLOWS_S.get(one.code, BEFORE_S)
    if one.code in FOLLOWS_S and other.code in LASTING:
        within = max(within, other.duration_s)
    if not -max(min(doubt, BEFORE_S), lead) <= lag <= within:
        return None
    what = f"{other.name}, its end" if over else other.name
    known = bool(np.isfinite(doubt))
    lag_s = lag if known else None
    return Link("preceded by", what, other.code, other.key, lag_s, lag > doubt, at_s=at, at_end=over)
