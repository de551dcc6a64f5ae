"""Which arterial line is believed: the one that derived measures and pressure rules go by."""

from __future__ import annotations

from typing import TYPE_CHECKING

from afterclamp.io.errors import NoSuchChannel

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
        A wave of arterial pressure with a known site; None where there is none.
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
    if believe:
        return _chosen(case, believe)
    asked = _asked_for(case)
    if asked is not None:
        return asked
    waves = [channel for channel in case.of_kind("arterial_pressure") if channel.is_wave]
    known = [channel for channel in waves if channel.site]
    if not known:
        if waves:
            return None, (
                f"no arterial pressure has a known site ({', '.join(c.label or c.key for c in waves)}): "
                "a pressure without a site is not believed for any rule"
            )
        return None, "there is no wave of arterial pressure in this case"
    best = min(known, key=lambda channel: (_on_inflow_side(case, channel), _rank(channel), channel.id))
    reason = f"{best.plain_name}: {_why(best, known)}"
    set_aside = [channel.plain_name for channel in known if _on_inflow_side(case, channel)]
    if _on_inflow_side(case, best):
        reason += ", although it is on the side of the inflow, which may over-read: there is no other site"
    elif set_aside:
        reason += f"; {', '.join(set_aside)} is on the side of the inflow and comes last"
    return best, reason


def _chosen(case: Case, believe: str) -> tuple[Channel, str]:
    channel = case[believe]
    if channel.kind != "arterial_pressure":
        sites = ", ".join(c.name for c in case.of_kind("arterial_pressure") if c.is_wave) or "none"
        raise NoSuchChannel(
            f"{believe!r} is no arterial pressure; arterial sites of this case: {sites}",
            path=case.folder,
            todo="Name one of them",
        )
    return channel, f"{channel.plain_name}: chosen by a person"


def _asked_for(case: Case) -> tuple[Channel, str] | None:
    """What the last standing edit of the log says, if it still names an arterial line."""
    for edit in reversed(case.log.standing("believe")):
        channel = case.get(str(edit.payload.get("site", edit.payload.get("channel", ""))))
        if channel is not None and channel.kind == "arterial_pressure":
            return channel, f"{channel.plain_name}: chosen by {edit.author}"
    return None


def _rank(channel: Channel) -> int:
    place = (channel.site, channel.side if channel.site == "radial" else "")
    return ORDER.index(place) if place in ORDER else len(ORDER)


def _why(best: Channel, known: list[Channel]) -> str:
    if len(known) == 1:
        return "the only arterial line with a known site"
    if best.site == "femoral":
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
