"""Which arterial line is believed: the one that derived measures and pressure rules go by."""

from __future__ import annotations

from typing import TYPE_CHECKING

from afterclamp.io.errors import NoSuchChannel

from .named import Signal, signal_called, signals

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel

ORDER = (("femoral", ""), ("radial", "left"), ("radial", "right"))
"""Sites in the order in which they are believed; any other arterial site comes after (this project's choice)."""


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
    asked = _asked_for(case)
    if asked is not None:
        return asked
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
    best = min(known, key=lambda one: (_on_inflow_side(case, one.first), _rank(one.first), one.first.id))
    reason = f"{best.plain_name}: {_why(best, known)}"
    set_aside = [one.plain_name for one in known if _on_inflow_side(case, one.first)]
    if _on_inflow_side(case, best.first):
        reason += ", although it is on the side of the inflow, which may over-read: there is no other site"
    elif set_aside:
        reason += f"; {', '.join(set_aside)} is on the side of the inflow and comes last"
    return best, reason + _twins(case, best)


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


def _rank(channel: Channel) -> int:
    place = (channel.site, channel.side if channel.site == "radial" else "")
    return ORDER.index(place) if place in ORDER else len(ORDER)


def _why(best: Signal, known: list[Signal]) -> str:
    if len(known) == 1:
        return "the only arterial line with a known site"
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
        and channel.site in ("radial", "brachial", "axillary")
    )
