"""Finds: every rule run on a case, suppressed where it must be, linked, and never silent about what is missing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, overload

from .phases import phases
from .rules import RULES, Find, Link, Rule
from .view import View

if TYPE_CHECKING:
    import pandas as pd
    from afterclamp.io.case import Case

    from .limits import LimitSet

__all__ = ["Find", "Finds", "edited_limits", "find", "find_in", "linked_up", "numbers"]

SAME_FALL = frozenset({"E01", "E02", "E04", "E13", "E27", "E28"})
"""Classes that can be one and the same fall of the pressure, seen by two rules."""
STOPS = frozenset({"E07", "E08", "E10", "E17", "E18"})
"""Classes that a low pressure on bypass may be preceded by."""
BEFORE_S = 120.0  # how long before a low pressure one of them may have ended or begun


@dataclass(frozen=True)
class Finds(Sequence[Find]):
    """What the rules propose for a case, in order of time.

    Attributes
    ----------
    finds : tuple of Find
    not_looked_for : tuple of str
        Rules that could not be asked and why: ``"E17 not looked for: no pump flow"``.
    held_back : tuple of Find
        What a rule saw and did not put forward, each with its reason.
    site : str
        The believed arterial site, empty if there is none.
    site_reason : str
        Why.
    """

    finds: tuple[Find, ...]
    not_looked_for: tuple[str, ...] = ()
    held_back: tuple[Find, ...] = ()
    site: str = ""
    site_reason: str = ""

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
        """As the command line prints it: times in seconds of the reference clock."""
        return [one.to_json() for one in self.finds]

    def to_frame(self) -> pd.DataFrame:
        """One row a find, without the evidence."""
        import pandas as pd

        columns = ["code", "name", "start_s", "end_s", "duration_s", "channels", "site", "confidence", "key"]
        rows = [
            {**one.to_json(), "duration_s": one.duration_s, "channels": " ".join(one.channels)}
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
        ``limit`` edits.

    Returns
    -------
    Finds
        Recomputed each time; what people said about earlier finds stands in the log
        (`marks.verdicts`).
    """
    view = View.of(case, believe)
    return find_in(view.with_phases(phases(case, view)), {**edited_limits(case), **numbers(limits)})


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


def find_in(view: View, limits: Mapping[str, float] | None = None, rules: Sequence[Rule] = RULES) -> Finds:
    """The same on a view that has its phases laid in: no file is touched."""
    found: list[Find] = []
    missing: list[str] = []
    for rule in rules:
        absent = rule.missing(view)
        if absent:
            missing.append(f"{rule.code} not looked for: {', '.join(absent)}")
            continue
        prefix = f"{rule.code}."
        own = {
            name.removeprefix(prefix): value
            for name, value in (limits or {}).items()
            if name.startswith(prefix)
        }
        found += rule.find(view, rule.values(own))
    ordered = sorted(found, key=lambda one: (one.start_s, one.code, one.channels))
    return Finds(
        linked_up([one for one in ordered if not one.held_back], view),
        tuple(missing),
        tuple(one for one in ordered if one.held_back),
        view.believed,
        view.believed_reason,
    )


def linked_up(found: Sequence[Find], view: View) -> tuple[Find, ...]:
    """Finds with what belongs together named: the same fall, and what went before a low pressure."""
    out = []
    for one in found:
        links = list(one.linked)
        for other in found:
            if other is one:
                continue
            if {one.code, other.code} <= SAME_FALL and one.code != other.code:
                shared = one.overlap_s(other)
                if shared >= 0.5 * min(one.duration_s, other.duration_s) and shared > 0:
                    links.append(
                        Link("same fall as", other.name, other.code, other.key, one.start_s - other.start_s)
                    )
            elif one.code in ("E13", "E01") and other.code in STOPS:
                link = _preceded(one, other, view)
                if link is not None:
                    links.append(link)
        out.append(replace(one, linked=tuple(links)))
    return tuple(out)


def _preceded(one: Find, other: Find, view: View) -> Link | None:
    """A link from a low pressure to a stop of the flow that began shortly before it, or that just ended."""
    began, ended = one.start_s - other.start_s, one.start_s - other.end_s
    doubt = 1.96 * view.sd_between(one.channels[0], other.channels[0])
    if other.code in ("E17", "E18"):
        if not 0 <= ended <= BEFORE_S:
            return None
        return Link("preceded by", f"{other.name}, its end", other.code, other.key, ended, ended > doubt)
    if -doubt <= began <= BEFORE_S:
        return Link("preceded by", other.name, other.code, other.key, began, began > doubt)
    return None
