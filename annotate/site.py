"""Which arterial line is believed: the one that derived measures and pressure rules go by."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from afterclamp.io.array_cache import text_of
from afterclamp.io.errors import NoSuchChannel
from numpy.typing import NDArray

from .named import Signal, signal_called, signals
from .phase_rules import FLOW_OFF
from .quality import channel_key, seconds_state
from .runs import BRIDGE_S, spans
from .series import OBSERVED
from .site_choices import whole_case_choice

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel

    from .view import View

ORDER = (("femoral", ""), ("radial", "left"), ("radial", "right"))
"""Sites in the order in which they are believed; any other arterial site comes after (this project's choice)."""
LEAST_SHARE = 0.5
"""Of the seconds in which any line is usable, the part in which the believed one has to be (this project's choice)."""
ARM = ("radial", "brachial", "axillary")
"""Sites that the jet of an inflow through the axillary artery of the same side passes."""


def believed_site(case: Case, believe: str | None = None) -> tuple[Channel | None, str]:
    """The arterial line that is believed in a case, and why.

    Parameters
    ----------
    case : Case
        The case; the side of the inflow comes from its sheet.
    believe : str, optional
        Name or id of the channel that a person believes instead.

    Returns
    -------
    channel : Channel or None
        A wave of arterial pressure with a known site, its earliest channel where it was recorded by several
        one after another; None where there is none.
    reason : str
        One sentence.

    Raises
    ------
    NoSuchChannel
        If `believe` names no arterial pressure of the case.

    Notes
    -----
    Of the lines that are usable (recorded and without artefact) for at least `LEAST_SHARE`, half, of the seconds in
    which any line is, in a view of the past before its end, the first in the order of sites is believed; where none
    is for half of them, the one that is for longest. So a line that comes in late or for a moment does not empty the
    figures of a case that another line shows from end to end. A line that a person chose in the log waits until it
    has one such second; one named in `believe` does not wait. Where no line has one the order alone decides.

    The femoral line first, since a radial one under-reads after bypass in 34 to 45 % of patients (146 of
    435: Bouchard-Dechêne 2018; 33 of 73: PubMed 26599795), then the left radial, then the right. A line
    on the arm that the pump feeds comes last: the jet of the inflow passes it.
    """
    signal, reason = believed_signal(case, believe)
    return (None if signal is None else signal.first), reason


def believed_signal(case: Case, believe: str | None = None) -> tuple[Signal | None, str]:
    """As `believed_site`, with all the channels that the line was recorded by."""
    if believe:
        signal = _chosen(case, believe)
        return signal, f"{signal.plain_name}: chosen by a person{_twins(case, signal)}"
    asked, waiting = _asked_for(case), ""
    if asked is not None:
        if in_place(case, asked[0]):
            return asked
        waiting = f"; {asked[1]}, is not in place"
    waves = [signal for signal in signals(case).values() if _is_line(signal)]
    known = [signal for signal in waves if signal.first.site]
    if not known:
        if waves:
            labels = ", ".join(signal.first.label or signal.first.key for signal in waves)
            return None, (
                f"no arterial pressure has a known site ({labels}): "
                "a pressure without a site is not believed for any rule"
            )
        return None, "there is no wave of arterial pressure in this case"
    ordered = sorted(known, key=lambda one: (*_rank(case, one.first), one.first.id))
    seen = [usable_seconds(case, one) for one in ordered]
    counted = [int(np.count_nonzero(one)) for one in seen]
    any_line = int(np.count_nonzero(np.logical_or.reduce(seen)))
    long_enough = [
        one for one, count in zip(ordered, counted, strict=True) if count >= LEAST_SHARE * any_line
    ]
    out: list[Signal] = []
    if not any_line:
        best = ordered[0]
        reason = (
            f"{best.plain_name}: first in the order of sites, though no line has a usable second{waiting}"
        )
    else:
        best = long_enough[0] if long_enough else ordered[counted.index(max(counted))]
        out = ordered[: ordered.index(best)]
        gone = [one for one, count in zip(out, counted, strict=False) if not count]
        brief = [one for one in out if one not in gone]
        if not long_enough:
            why = (
                f"usable for longest, {_of_minutes(counted[ordered.index(best)], any_line)} in which any line is; "
                "none is for half of them"
            )
        elif brief:
            why = (
                "first in the order femoral, left radial, right radial, other of the lines that are usable for at "
                "least half of the time in which any line is"
            )
        else:
            why = _why(best, [one for one in ordered if one not in gone], bool(gone))
        reason = f"{best.plain_name}: {why}{waiting}"
        reason += "".join(
            f"; {one.plain_name} is usable for {_of_minutes(count, any_line)} of it"
            for one, count in zip(ordered, counted, strict=True)
            if one in brief
        )
        told = [one for one in gone if asked is None or one.name != asked[0].name]
        if told:
            reason += f"; {_listed(told)} {_is(told)} not in place: no usable second"
    aside = [one for one in known if one is not best and one not in out and _on_inflow_side(case, one.first)]
    if _on_inflow_side(case, best.first):
        reason += ", although it is on the side of the inflow, which may over-read: there is no other site"
        reason += " in place" if out else ""
    elif aside:
        reason += (
            f"; {', '.join(one.plain_name for one in aside)} is on the side of the inflow and comes last"
        )
    return best, reason + _twins(case, best)


def in_place(case: Case, signal: Signal) -> bool:
    """Whether a line has a second that is recorded and without artefact, in a view of the past before its end."""
    return bool(usable_seconds(case, signal).any())


def usable_seconds(case: Case, signal: Signal) -> NDArray[np.bool_]:
    """Seconds of the case's grid in which a line is recorded and without artefact."""
    parts = (code_of(), *(channel_key(channel) for channel in signal.channels))

    def computed() -> dict[str, NDArray[Any]]:
        grid = np.asarray(case.grid, dtype=np.float64)
        states = [seconds_state(channel, grid) == OBSERVED for channel in signal.channels]
        return {"usable": np.logical_or.reduce(states)}

    # Of the whole case it is kept, so that a case opened again need not read its waves to name its site.
    found = computed() if case.horizon is not None else case.cached("usable", parts, computed)
    return np.asarray(found["usable"], dtype=np.bool_)


def code_of() -> str:
    """What it depends on besides the case: the text of the modules that tell artefacts."""
    return text_of(Path(__file__).parent)


class StandIn(NamedTuple):
    """A stretch in which another line than the believed one is judged.

    Attributes
    ----------
    name : str
        The line that is judged instead, as in `View.values`.
    start, stop : int
        Half-open seconds of the view.
    instead_of : str
        The believed line; empty where there is none.
    why : str
        What is the matter with it, such as ``"is not in yet"``; or when and by whom another was chosen.
    by : str
        Who chose it; empty for a stand-in that the rule proposes.
    """

    name: str
    start: int
    stop: int
    instead_of: str
    why: str
    by: str = ""

    @property
    def reason(self) -> str:
        """One sentence."""
        if self.by:
            return f"{_spaced(self.name)}: {self.why}"
        return f"{_spaced(self.name)}: stands in while {_spaced(self.instead_of)} {self.why}"


def stand_ins(view: View) -> list[StandIn]:
    """Which line is judged where the believed one is not in yet, is out, or is masked for long.

    Where a person chose a line (`View.chosen`) nothing stands in for it.
    """
    if view.believed not in view.values:
        return []
    names, judged = judged_each_second(view)
    chosen = view.chosen_seconds
    return [
        StandIn(names[judged[start]], start, stop, view.believed, why_not_believed(view, start, stop))
        for first, last in spans((judged > 0) & ~chosen)
        for start, stop in _constant(judged, first, last)
    ]


def judged_each_second(view: View) -> tuple[list[str], NDArray[np.intp]]:
    """The line that a rule would judge in each second, whatever a person chose.

    The first usable one (R1) of the believed line and then the others in the order of `believed_site`. A line on
    the arm that the pump feeds comes last while the pump runs, or where nobody knows whether it does (R2). A
    change that lasts no more than `runs.BRIDGE_S` is bridged: rules bridge as much, and a line that comes and
    goes would otherwise cut every find to pieces. Where no line is usable the last one stays.

    Returns
    -------
    names : list of str
        The believed line, then the others.
    judged : ndarray of int
        Index into `names` for each second of the view.
    """
    others = [name for name in view.arterial if name != view.believed and name in view.pulse]
    names = [view.believed, *sorted(others, key=_rank_of_name)]
    usable = np.array([np.isfinite(view.values[name]) for name in names])
    fed = [name != view.believed and on_fed_arm(view, name) for name in names]
    while_fed = [index for index in range(len(names)) if not fed[index]]
    while_fed += [index for index in range(len(names)) if fed[index]]
    at_rest = view.flow <= FLOW_OFF + 1e-6 if view.flow is not None else np.zeros(view.n, dtype=np.bool_)
    first = np.where(at_rest, _first_usable(usable, range(len(names))), _first_usable(usable, while_fed))
    return names, bridged(_held(first))


def _first_usable(usable: NDArray[np.bool_], order: Iterable[int]) -> NDArray[np.intp]:
    """Index of the first usable line in this order, -1 where none is."""
    places = np.array(list(order), dtype=np.intp)
    ordered = usable[places]
    return np.where(ordered.any(axis=0), places[ordered.argmax(axis=0)], -1)


def _held(found: NDArray[np.intp]) -> NDArray[np.intp]:
    """Where nothing was found the last one found before, or the first one after; all 0 where there is none."""
    known = np.flatnonzero(found >= 0)
    if not known.size:
        return np.zeros(found.size, dtype=np.intp)
    last = np.searchsorted(known, np.arange(found.size), side="right") - 1
    return found[known[np.maximum(last, 0)]]


def bridged(found: NDArray[np.intp]) -> NDArray[np.intp]:
    """Stretches of up to `BRIDGE_S` taken into the one before, or at the beginning into the one after."""
    out = found.copy()
    kept: int | None = None
    for start, stop in _constant(found, 0, found.size):
        if stop - start > BRIDGE_S:
            if kept is None:
                out[:start] = found[start]
            kept = int(found[start])
        if kept is not None:
            out[start:stop] = kept
    return out


def _constant(found: NDArray[np.intp], first: int, last: int) -> list[tuple[int, int]]:
    """Half-open stretches of one value within ``[first, last)``."""
    if last <= first:
        return []
    cuts = first + 1 + np.flatnonzero(np.diff(found[first:last]))
    edges = [first, *(int(cut) for cut in cuts), last]
    return list(pairwise(edges))


def why_not_believed(view: View, start: int, stop: int) -> str:
    """What is the matter with the believed line in a stretch without it, such as ``"is out"``.

    A line that was recorded in most of a stretch is masked there, by an artefact or by a person: it is neither out nor
    not in yet.
    """
    seen = np.isfinite(view.values[view.believed])
    before, after = bool(seen[:start].any()), bool(seen[stop:].any())
    if before and after:
        return "has no usable second"
    if view.masked_seconds(view.believed, start, stop) > (stop - start) / 2:
        return "is masked"
    return "is out" if before else "is not in yet"


def on_fed_arm(view: View, name: str) -> bool:
    """Whether a line of a view is in the arm whose axillary artery the pump feeds."""
    side, _, site = name.rpartition("_")
    fed = view.facts.inflow_site == "axillary" and bool(side) and side == view.facts.inflow_side
    return fed and site in ARM


def _rank_of_name(name: str) -> tuple[int, str]:
    side, _, site = name.rpartition("_")
    return _place(site, side), name


def _spaced(name: str) -> str:
    return name.replace("_", " ")


def _of_minutes(seconds: int, whole: int) -> str:
    return f"{seconds / 60:.1f} of the {whole / 60:.1f} min"


def _listed(some: list[Signal]) -> str:
    return " and ".join(one.plain_name for one in some)


def _is(some: list[Signal]) -> str:
    return "are" if len(some) > 1 else "is"


def _chosen(case: Case, believe: str) -> Signal:
    signal = signal_called(case, believe)
    if signal.first.kind != "arterial_pressure":
        sites = ", ".join(one.token for one in signals(case).values() if _is_line(one)) or "none"
        raise NoSuchChannel(
            f"{believe!r} is no arterial pressure; arterial sites of this case: {sites}",
            path=case.folder,
            todo="Name one of them",
        )
    return signal


def _asked_for(case: Case) -> tuple[Signal, str] | None:
    """The line that a person chose for the whole case, and that in words."""
    chosen = whole_case_choice(case)
    if chosen is None:
        return None
    signal, author = chosen
    return signal, f"{signal.plain_name}: chosen by {author}{_twins(case, signal)}"


def _is_line(signal: Signal) -> bool:
    return signal.first.kind == "arterial_pressure" and signal.first.is_wave


def _twins(case: Case, believed: Signal) -> str:
    """That another line of the same site was recorded at the same time, as the end of a sentence."""
    others = [
        one.plain_name
        for one in signals(case).values()
        if _is_line(one) and one.first.name == believed.first.name and one.name != believed.name
    ]
    if not others:
        return ""
    several = len(others) > 1
    return (
        f"; {' and '.join(others)} {'are other lines' if several else 'is another line'} of the same site and "
        f"{'are' if several else 'is'} not used"
    )


def _rank(case: Case, channel: Channel) -> tuple[bool, int]:
    return _on_inflow_side(case, channel), _place(channel.site, channel.side)


def _place(site: str, side: str) -> int:
    place = (site, side if site == "radial" else "")
    return ORDER.index(place) if place in ORDER else len(ORDER)


def _why(best: Signal, known: list[Signal], others_out: bool) -> str:
    if len(known) == 1:
        return "the only arterial line with a known site" + (" that is in place" if others_out else "")
    if best.first.site == "femoral":
        return "nearest to the centre of the lines in place"
    return "first of the lines in place in the order femoral, left radial, right radial, other"


def _on_inflow_side(case: Case, channel: Channel) -> bool:
    """Whether the pump feeds the axillary artery of the arm that this line is in."""
    sheet = case.sheet
    return bool(
        sheet.inflow_site == "axillary"
        and sheet.inflow_side
        and channel.side == sheet.inflow_side
        and channel.site in ARM
    )
