"""What was decided about a case's sources and channels, read from the log: identities, units, sources taken out.

An ``identity`` edit says what a channel is and in which unit it was recorded; what the file wrote is kept beside
it. A ``source`` edit with ``"in": false`` takes a source out of the case, its file stays; one with
``"trace_sha256"`` says what its trace file was when it was written.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from . import terms
from .errors import EditRefused
from .log import Edit


@dataclass(frozen=True, slots=True)
class ChannelDecision:
    """What a channel is, by the edit in force."""

    identity: terms.Identity
    unit: str
    edit: str


def channel_decisions(edits: Iterable[Edit]) -> tuple[dict[str, ChannelDecision], list[str]]:
    """Standing ``identity`` edits by channel id, the last one each, and what is wrong with those that say nothing.

    An edit that holds no identity, as one that another program wrote into the log, must not keep a case from
    opening: it is passed over and told.
    """
    found: dict[str, ChannelDecision] = {}
    refused = []
    for edit in edits:
        if edit.verb != "identity":
            continue
        try:
            channel = str(edit.payload["channel"])
            identity = terms.Identity(
                kind=str(edit.payload.get("kind", "other")),
                site=str(edit.payload.get("site", "")),
                side=str(edit.payload.get("side", "")),
                statistic=str(edit.payload.get("statistic", "value")),
            )
            unit = str(edit.payload.get("unit", ""))
            if unit and unit not in terms.UNITS:
                raise ValueError(f"unit {unit!r} is not in the table of units")
        except (KeyError, ValueError) as cause:
            refused.append(f"{edit.id}: an identity that cannot be followed ({cause})")
        else:
            found[channel] = ChannelDecision(identity, unit, edit.id)
    return found, refused


def channel_payload(
    channel: str, identity: terms.Identity, unit: str, unit_as_written: str, why: str = ""
) -> dict[str, Any]:
    """Payload of an ``identity`` edit."""
    payload = {
        "channel": channel,
        "kind": identity.kind,
        "site": identity.site,
        "side": identity.side,
        "statistic": identity.statistic,
        "unit": unit,
        "unit_as_written": unit_as_written,
    }
    return payload | ({"why": why} if why else {})


def changed(
    now: terms.Identity,
    unit: str,
    *,
    kind: str | None = None,
    site: str | None = None,
    side: str | None = None,
    statistic: str | None = None,
    new_unit: str | None = None,
) -> tuple[terms.Identity, str]:
    """An identity and a unit with some of it changed; what is None stays.

    A site or side that a new kind does not have goes. A unit is written as people write it, or ``""`` for
    unknown.

    Raises
    ------
    EditRefused
        Naming what was found and what was expected.
    """
    kind = now.kind if kind is None else kind
    if kind not in terms.KINDS:
        raise EditRefused(f"kind {kind!r} is none of {', '.join(terms.KINDS)}")
    accepted = terms.KINDS[kind]
    if site is None:
        site = now.site if now.site in accepted.sites else ""
    if side is None:
        side = now.side if accepted.sided else ""
    try:
        identity = terms.Identity(kind, site, side, now.statistic if statistic is None else statistic)
    except ValueError as cause:
        raise EditRefused(str(cause)) from cause
    if new_unit is not None:
        code = terms.parse_unit(new_unit) if new_unit.strip() else ""
        if code is None:
            raise EditRefused(
                f"{new_unit!r} is no known unit",
                todo=f"Write one of {', '.join(terms.units_of(kind)) or 'the units in the table'}",
            )
        unit = code
        if unit and not terms.usable(identity, unit):
            raise EditRefused(
                f"{unit} is no unit of {identity.plain_name}",
                todo=f"Write one of {', '.join(terms.units_of(kind))}, or nothing where it is not known",
            )
    return identity, unit


def taken_out(edits: Iterable[Edit]) -> dict[str, str]:
    """Sources that are out by the last standing ``source`` edit each, with that edit's id."""
    found: dict[str, str] = {}
    for edit in edits:
        if edit.verb == "source" and "in" in edit.payload:
            name = str(edit.payload.get("source"))
            if edit.payload["in"] is False:
                found[name] = edit.id
            else:
                found.pop(name, None)
    return found


def last_in_out(edits: Iterable[Edit], source: str) -> str | None:
    """Id of the standing edit that last took this source out or put it back."""
    ids = [
        edit.id
        for edit in edits
        if edit.verb == "source" and "in" in edit.payload and edit.payload.get("source") == source
    ]
    return ids[-1] if ids else None


def trace_hashes(edits: Sequence[Edit]) -> Mapping[str, str]:
    """SHA-256 of each source's trace file when it was written, as far as the log knows it."""
    return {
        str(edit.payload.get("source")): str(edit.payload["trace_sha256"])
        for edit in edits
        if edit.verb == "source" and "trace_sha256" in edit.payload
    }
