"""Which arterial line is believed: the one that derived measures and pressure rules go by."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from afterclamp.io.array_cache import text_of
from afterclamp.io.errors import NoSuchChannel
from numpy.typing import NDArray

from .named import Signal, signal_called, signals
from .quality import channel_key, seconds_state
from .runs import BRIDGE_S, spans
from .series import OBSERVED

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel

    from .view import View

ORDER = (("femoral", ""), ("radial", "left"), ("radial", "right"))
"""Sites in the order in which they are believed; any other arterial site comes after (this project's choice)."""
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
    Only a line that is in place is believed: one that has a second without artefact, in a view of the past
    before its end. A line that a person chose in the log waits for that too; one named in `believe` does not.
    Where none has such a second the order alone decides.

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
    best = next((one for one in ordered if in_place(case, one)), None)
    if best is None:
        best, out = ordered[0], []
        reason = (
            f"{best.plain_name}: first in the order of sites, though no line has a usable second{waiting}"
        )
    else:
        out = ordered[: ordered.index(best)]
        rivals = [one for one in ordered if one not in out]
        reason = f"{best.plain_name}: {_why(best, rivals, bool(out))}{waiting}"
    told = [one for one in out if asked is None or one.name != asked[0].name]
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
    parts = (_code(), *(channel_key(channel) for channel in signal.channels))

    def any_usable() -> dict[str, NDArray[Any]]:
        grid = np.asarray(case.grid, dtype=np.float64)
        usable = any(bool((seconds_state(channel, grid) == OBSERVED).any()) for channel in signal.channels)
        return {"usable": np.array(usable)}

    # Of the whole case it is kept, so that a case opened again need not read its waves to name its site.
    found = any_usable() if case.horizon is not None else case.cached("in-place", parts, any_usable)
    return bool(found["usable"])


def _code() -> str:
    """What it depends on besides the case: the text of the modules that tell artefacts."""
    return text_of(Path(__file__).parent)


class StandIn(NamedTuple):
    """A stretch in which the believed line has no usable second, and the line that is judged instead.

    Attributes
    ----------
    name : str
        The line that stands in, as in `View.values`.
    start, stop : int
        Half-open seconds of the view.
    instead_of : str
        The believed line.
    why : str
        What is the matter with it, such as ``"is not in yet"``.
    """

    name: str
    start: int
    stop: int
    instead_of: str
    why: str

    @property
    def reason(self) -> str:
        """One sentence."""
        return f"{_spaced(self.name)}: stands in while {_spaced(self.instead_of)} {self.why}"


def stand_ins(view: View) -> list[StandIn]:
    """Which line is judged where the believed one is not in yet, is out, or is masked for long.

    The next line in the order of `believed_site` that has any usable second there. A stretch of up to
    `runs.BRIDGE_S` is no such: rules bridge it.
    """
    own = view.values.get(view.believed)
    if own is None:
        return []
    found = []
    lines = [name for name in view.arterial if name != view.believed and name in view.pulse]
    ordered = sorted(lines, key=lambda name: _rank_of_name(view, name))
    for start, stop in spans(~np.isfinite(own)):
        there = [name for name in ordered if np.isfinite(view.values[name][start:stop]).any()]
        if stop - start > BRIDGE_S and there:
            found.append(StandIn(there[0], start, stop, view.believed, _why_out(view, start, stop)))
    return found


def _why_out(view: View, start: int, stop: int) -> str:
    seen = np.isfinite(view.values[view.believed])
    if not seen[:start].any():
        return "is not in yet"
    return "has no usable second" if seen[stop:].any() else "is out"


def _rank_of_name(view: View, name: str) -> tuple[bool, int, str]:
    side, _, site = name.rpartition("_")
    fed = view.facts.inflow_site == "axillary" and bool(side) and side == view.facts.inflow_side
    return fed and site in ARM, _place(site, side), name


def _spaced(name: str) -> str:
    return name.replace("_", " ")


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
    """What the last standing edit of the log says, if it still names an arterial line."""
    for edit in reversed(case.log.standing("believe")):
        try:
            signal = signal_called(case, str(edit.payload.get("site", edit.payload.get("channel", ""))))
        except NoSuchChannel:
            continue
        if signal.first.kind == "arterial_pressure":
            return signal, f"{signal.plain_name}: chosen by {edit.author}{_twins(case, signal)}"
    return None


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
