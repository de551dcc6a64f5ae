"""What the first page leads with: how long, how cold and how low, each with its ±."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.annotate.derived import Derived
from afterclamp.annotate.masked_gaps import across_masked
from afterclamp.annotate.measures import exposure
from afterclamp.annotate.phases import Duration, durations
from afterclamp.annotate.series import OBSERVED
from afterclamp.annotate.site_choices import THEN
from afterclamp.annotate.view import CORE_NAMES

from ..wording import NONE, Z95, in_minutes, length, number, site_words, spread, unit_name
from .content import Row, Table
from .moments import note_doubt, phase_key, when

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure
    from afterclamp.annotate.named import Signal
    from afterclamp.annotate.phases import Phase
    from afterclamp.annotate.series import Series
    from afterclamp.io.case import Case

GRID_SD_S = 1 / math.sqrt(12)  # what a time on a grid of whole seconds leaves open

NOT_SET = "not set"
LINES_SHOWN = 6
RUN_GAP_S = 5.0  # as in the figures: interruptions that do not end a stretch

_CLAMP = re.compile(r"clamp", re.IGNORECASE)


def headline(
    case: Case, found: Sequence[Phase], computed: Sequence[Figure], believe: str | None = None
) -> Table:
    """Bypass, clamp, circulation off, brain perfused, coolest core, time at low pressure after bypass.

    Parameters
    ----------
    case : Case
    found : sequence of Phase
        In force.
    computed : sequence of Figure
        For the time at low pressure, at the believed site.
    believe : str, optional
        Arterial site to go by.
    """
    sums = durations(found)
    derived = Derived(case, believe)
    rows = (
        _duration("bypass", sums, "bypass", _net(sums)),
        _clamp(case, sums, found),
        _duration("circulation off: no flow at all", sums, "no_flow_arrest"),
        _duration("circulation off: lower body", sums, "lower_body_arrest", "with the time without any flow"),
        _duration("brain perfused alone", sums, "selective_cerebral"),
        _coolest(case, derived),
        _low_pressure(found, computed, derived),
    )
    has_flow = "no pump flow was recorded" if not found else "none was found"
    return Table(
        caption="The case in short; what stands after ± is a 95 % interval",
        headings=("", "value", "±", "parts, place, other sites"),
        rows=tuple(row if row is not None else Row((name, NONE, NONE, has_flow)) for row, name in zip(
            rows, ("bypass", "cross-clamp", "circulation off: no flow at all", "circulation off: lower body",
                   "brain perfused alone", "coolest core", "low pressure after bypass"), strict=True)),
        right="<>>",
        widths=(42, 30, 24, 82),
    )  # fmt: skip


def _net(sums: Mapping[str, Duration]) -> str:
    net = sums.get("bypass_net_of_no_flow")
    if net is None or "no_flow_arrest" not in sums:
        return ""
    return f"without the time of no flow {net.before_number}{length(net.total_s)} {spread(net.unc_s)}"


def _duration(words: str, sums: Mapping[str, Duration], token: str, more: str = "") -> Row | None:
    one = sums.get(token)
    if one is None:
        return None
    parts = " + ".join(length(part[2]) for part in one.each) if len(one.each) > 1 else ""
    said = "; ".join(part for part in (parts, more) if part)
    doubt = spread(one.unc_s) if one.unc_s else "as placed"  # by a person, who gave no ±
    return Row(
        (words, f"{one.before_number}{length(one.total_s)} min:s", doubt, said), link=phase_key(token, 0)
    )


def _clamp(case: Case, sums: Mapping[str, Duration], found: Sequence[Phase]) -> Row:
    """The time under the clamp, or that nobody set it, with what was said of it and when."""
    if "clamp" in sums:
        own = [phase for phase in found if phase.name == "clamp"]
        authors = dict.fromkeys(by for phase in own for by in phase.ends_by if by)
        if all(all(phase.ends_by) for phase in own):
            by = f"set by {', '.join(authors)}"
        else:
            by = f"proposed from {_by_words(own)}, "
            by += f"set in part by {', '.join(authors)}" if authors else "nobody confirmed it"
            said = _clamp_lines(case)[1]
            by += f"; lines that mention it: {'; '.join(said)}" if said else ""
        if len(own) > 1:
            by = f"longest {length(max(phase.duration_s for phase in own))}; {by}"
        row = _duration("cross-clamp", sums, "clamp", by)
        assert row is not None
        return row
    lines, said = _clamp_lines(case)
    words = "nobody set its times; " + (
        "lines that mention it: " + "; ".join(said) if said else "no line mentions it"
    )
    return Row(("cross-clamp", NOT_SET, NONE, words), link="part-said-and-written" if lines else "")


def _clamp_lines(case: Case) -> tuple[int, list[str]]:
    """How many lines mention the clamp, and the first of them with their times."""
    lines = [note for note in case.notes if _CLAMP.search(note.text)]
    said = [
        f"“{note.text}” ({note.source}) {when(case, note.t)} {note_doubt(case, note)}"
        for note in lines[:LINES_SHOWN]
    ]
    if len(lines) > LINES_SHOWN:
        said.append(f"and {len(lines) - LINES_SHOWN} more lines")
    return len(lines), said


def _by_words(own: Sequence[Phase]) -> str:
    """What dates the clamps that nobody set: sources of lines, or the channel of cardioplegia."""
    return ", ".join(
        dict.fromkeys(
            name for phase in own for name in phase.source.replace("_", " ").split(", ") if name != "person"
        )
    )


def _coolest(case: Case, derived: Derived) -> Row | None:
    """The lowest core temperature, at the core site that the rules go by, with the others beside it."""
    lowest = [
        (signal, one)
        for name in CORE_NAMES
        for signal in derived.signals.values()
        if signal.name == name
        for one in [_lowest(derived.recorded(signal))]
        if one is not None
    ]
    if not lowest:
        return Row(("coolest core", NONE, NONE, "no core temperature was recorded"))
    (signal, (value, at)), *others = lowest
    first = signal.first
    doubt = Z95 * math.hypot(first.sd(at), first.interval_s / math.sqrt(12), GRID_SD_S)
    said = f"{_site(signal)}, first at {when(case, at)} {spread(doubt)}"
    if others:
        said += "; " + ", ".join(f"{_site(other)} {number(cold, 1)} °C" for other, (cold, _) in others)
    return Row(("coolest core", f"{number(value, 1)} {unit_name(first.unit)}", sensors(), said))


def sensors() -> str:
    """By how much two temperature sensors may differ, by common practice: the ± of a temperature."""
    from afterclamp.annotate.rules import by_code

    return f"± {by_code('E16').parameters['calibration'].value:g} °C (sensor)"


def _site(signal: Signal) -> str:
    return signal.plain_name.removesuffix(" temperature")


def _lowest(series: Series) -> tuple[float, float] | None:
    seen = np.flatnonzero(series.state == OBSERVED)
    if not seen.size:
        return None
    at = int(seen[np.argmin(series.values[seen])])
    return float(series.values[at]), series.start + at


def _low_pressure(found: Sequence[Phase], computed: Sequence[Figure], derived: Derived) -> Row | None:
    """Minutes under the limit of off bypass, after bypass, with the other arterial sites beside the believed one."""
    fitting = [
        figure
        for figure in computed
        if figure.measure == "mean_arterial_pressure" and figure.side == "below" and figure.limit is not None
    ]
    window = "after bypass"
    one = next((figure for figure in fitting if figure.phase == "post"), None)
    if one is None:
        window = "in the whole record"
        one = next((figure for figure in fitting if figure.phase == "record"), None)
    if one is None or one.limit is None:
        return Row(("low pressure after bypass", NONE, NONE, "no limit for it is in force"))
    words = f"below {one.limit:g} {unit_name(one.limit_unit)} {window}"
    if one.value is None:
        return Row((words, NONE, NONE, one.note))
    posts = [phase for phase in found if phase.name == "post"] if one.phase == "post" else []
    within = [(phase.start_s, phase.end_s) for phase in posts] or None
    others = []
    for signal in derived.signals.values():
        first = signal.first
        line = first.kind == "arterial_pressure" and first.is_wave and first.site
        if derived.site is None or not line or signal.name == derived.site.name:
            continue
        other = exposure(derived.pressure(signal), below=one.limit, within=within, close_gaps_s=RUN_GAP_S)
        if other.observed_s:
            minutes = f"{in_minutes(other.outside_s)} of {in_minutes(other.observed_s)} min"
            whole = exposure(across_masked(derived.pressure(signal)), below=one.limit, within=within)
            bridged = _with_bridged(other.outside_s, whole.outside_s)
            others.append(
                f"at {signal.plain_name} {minutes} {spread(_counted_doubt(other.runs, posts))}{bridged}"
            )
    # Where a person chose other lines for stretches, the figure's own site names them all.
    alone = derived.site if THEN not in one.site else None
    site = alone.plain_name if alone is not None else site_words(one.site)
    bridged = _with_bridged(one.outside_s, one.bridged.outside_s)
    said = f"at {site}, of {in_minutes(one.observed_s)} min observed{bridged}" + (
        f"; {'; '.join(others)}" if others else ""
    )
    return Row((words, f"{in_minutes(one.outside_s)} min", spread(_counted_doubt(one.runs, posts)), said))


def _with_bridged(seen_s: float, whole_s: float) -> str:
    """What it would be with a straight line across masked stretches, where that is another number."""
    return f" ({in_minutes(whole_s)} min with masked stretches bridged)" if whole_s - seen_s >= 6 else ""


def _counted_doubt(runs: Sequence[tuple[float, float]], posts: Sequence[Phase]) -> float:
    """Half width of what seconds counted outside a limit leave open.

    Each end of a stretch lies on a whole second; where a stretch touches the boundary of its phase, it is as
    uncertain there as the boundary is. Where a clock was set by nobody, which seconds are meant is not known.
    """
    squares = 2 * len(runs) * (Z95 * GRID_SD_S) ** 2
    for phase in posts:
        if math.isinf(phase.start.unc_s) or any(
            start <= phase.start_s + phase.start.unc_s for start, _ in runs
        ):
            squares += phase.start.unc_s**2
    return math.sqrt(squares)
