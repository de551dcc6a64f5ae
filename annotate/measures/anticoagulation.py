"""Anticoagulation: heparin, each activated clotting time, the target in force, protamine.

What is missing is said, never guessed. A target has no default: it is the unit's, or one that was published, and
travels with its source. Published: above 480 s, dependent on the test (Shore-Lesserson et al. Ann Thorac Surg 2018,
doi 10.1016/j.athoracsur.2017.09.061, read in a secondary source); 400 s or more was equivalent for red-cell
transfusion in a trial of 1,021 (doi 10.1053/j.jvca.2025.07.001).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from .intervals import Interval, SpanLike, as_interval, merge_intervals

Part = Literal["before", "on", "after"]


@dataclass(frozen=True, slots=True)
class ClottingTest:
    """One activated clotting time.

    Attributes
    ----------
    drawn_s : float
        Reference second at which the blood was drawn: what the value belongs to.
    seconds : float
        The clotting time itself, in seconds.
    result_s : float
        Reference second at which the result was known; NaN where nobody wrote it down.
    """

    drawn_s: float
    seconds: float
    result_s: float = math.nan


@dataclass(frozen=True, slots=True)
class ClottingRow:
    """One test in the ledger.

    Attributes
    ----------
    test : ClottingTest
        The test.
    part : str
        ``"before"``, ``"on"`` or ``"after"`` bypass, by the draw.
    since_last_s : float
        Seconds since the draw before; NaN for the first.
    result_after_s : float
        Seconds from draw to result; NaN where not known.
    below_target : bool or None
        None without a target, and off bypass after protamine, when it no longer holds.
    """

    test: ClottingTest
    part: Part
    since_last_s: float
    result_after_s: float
    below_target: bool | None


@dataclass(frozen=True, slots=True)
class AnticoagulationLedger:
    """Heparin, tests and protamine in order, with what was missing.

    Attributes
    ----------
    heparin_s, protamine_s : tuple of float
        Reference seconds.
    rows : tuple of ClottingRow
        In order of the draws.
    first_before : ClottingTest or None
        First test drawn after the first heparin and before going on.
    longest_on_bypass_s : float
        Longest stretch on bypass in seconds without a draw, its ends counted as going on and coming off; NaN
        without bypass.
    longest_on_bypass : (start, end) or None
        That stretch.
    target_s, target_source : float or None, str
        Target in force, in seconds, and whose it is.
    missing : tuple of str
        What should stand in a record and does not, in words.
    """

    heparin_s: tuple[float, ...]
    protamine_s: tuple[float, ...]
    rows: tuple[ClottingRow, ...]
    first_before: ClottingTest | None
    longest_on_bypass_s: float
    longest_on_bypass: Interval | None
    target_s: float | None
    target_source: str
    missing: tuple[str, ...]


def anticoagulation_ledger(
    tests: Sequence[ClottingTest],
    bypass: Sequence[SpanLike],
    *,
    heparin_s: Sequence[float] = (),
    protamine_s: Sequence[float] = (),
    target_s: float | None = None,
    target_source: str = "",
) -> AnticoagulationLedger:
    """Ledger of anticoagulation: tests by draw, intervals in seconds, target with its source, what is missing.

    Parameters
    ----------
    tests : sequence of ClottingTest
        In any order.
    bypass : sequence of Span or (start, end)
        Runs of bypass, reference seconds.
    heparin_s, protamine_s : sequence of float
        Reference seconds of each dose.
    target_s : float, optional
        Target in seconds; needs its source.
    target_source : str
        Citation, or whose own it is.

    Raises
    ------
    ValueError
        If a target has no source.

    Examples
    --------
    >>> tests = [ClottingTest(540, 486, 900), ClottingTest(4200, 512)]
    >>> found = anticoagulation_ledger(tests, [(1000, 9000)], heparin_s=[300], protamine_s=[9500])
    >>> found.first_before.seconds, found.longest_on_bypass_s, found.missing
    (486, 4800, ())
    """
    if target_s is not None and not target_source.strip():
        raise ValueError("a target for the activated clotting time needs its source")
    runs = merge_intervals([as_interval(one) for one in bypass])
    ordered = sorted(tests, key=lambda test: test.drawn_s)
    heparin, protamine = tuple(sorted(heparin_s)), tuple(sorted(protamine_s))
    on = runs[0][0] if runs else math.inf
    rows = []
    for i, test in enumerate(ordered):
        part = _part(test.drawn_s, runs)
        reversed_ = part == "after" and any(one <= test.drawn_s for one in protamine)
        rows.append(
            ClottingRow(
                test,
                part,
                test.drawn_s - ordered[i - 1].drawn_s if i else math.nan,
                test.result_s - test.drawn_s,
                None if target_s is None or reversed_ else test.seconds < target_s,
            )
        )
    given = heparin[0] if heparin else math.nan
    between = [test for test in ordered if test.drawn_s < on and test.drawn_s >= given]
    stretches = [
        pair
        for start, end in runs
        for pair in itertools.pairwise(
            [start, *(test.drawn_s for test in ordered if start < test.drawn_s < end), end]
        )
    ]
    longest = max(stretches, key=lambda pair: pair[1] - pair[0], default=None)
    return AnticoagulationLedger(
        heparin_s=heparin,
        protamine_s=protamine,
        rows=tuple(rows),
        first_before=between[0] if between else None,
        longest_on_bypass_s=longest[1] - longest[0] if longest else math.nan,
        longest_on_bypass=longest,
        target_s=target_s,
        target_source=target_source,
        missing=_missing(on, heparin, ordered, between) if runs else (),
    )


def _part(t: float, runs: Sequence[Interval]) -> Part:
    """Between two runs counts as after the first."""
    if any(start <= t < end for start, end in runs):
        return "on"
    return "after" if runs and t >= runs[0][1] else "before"


def _missing(
    on: float, heparin: Sequence[float], tests: Sequence[ClottingTest], between: Sequence[ClottingTest]
) -> tuple[str, ...]:
    said = []
    if not heparin:
        said.append("no heparin is written down")
    elif heparin[0] >= on:
        said.append("the first heparin is written down after going on bypass")
    if not tests:
        said.append("no activated clotting time is written down")
    elif tests[0].drawn_s >= on:
        said.append("the first activated clotting time was drawn after going on bypass")
    elif heparin and heparin[0] < on and not between:
        said.append("no activated clotting time was drawn between heparin and going on bypass")
    return tuple(said)
