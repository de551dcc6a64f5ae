"""Channels by the name that measures and rules know them by.

A recording that goes on in another file comes as several channels of one name. Here they are one
`Signal`; two lines of the same name in the same seconds stay two.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from afterclamp.io.errors import NoSuchChannel
from afterclamp.io.terms import KINDS

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel

SHARED_S = 1.0
SHARED_PART = 0.1
"""What recordings of one signal may have in common: 1 s, or a tenth of the shorter (this project's choice).

Files overlap a little where a recorder wrote one before it closed the other, or where a clock is a little
out. Two lines in one patient have most of their seconds in common.
"""


@dataclass(frozen=True)
class Signal:
    """What was recorded under one name, by one channel or by several one after another.

    Attributes
    ----------
    name : str
        What rules know it by: the canonical name (``"femoral"``), or the id of the first channel where
        another signal has that name already.
    channels : tuple of Channel
        In order of time. Where two have seconds in common, those of the earlier are used.
    told_by : str
        What tells it from another signal of the same name: its sources, or the id where those are the same.
        Empty where the name is its own.
    """

    name: str
    channels: tuple[Channel, ...]
    told_by: str = ""

    @property
    def first(self) -> Channel:
        """The earliest of its channels; site, kind and unit are the same in all."""
        return self.channels[0]

    @property
    def token(self) -> str:
        """Canonical name, with the source in brackets where another signal has it too: ``"femoral (pump)"``."""
        return f"{self.first.name} ({self.told_by})" if self.told_by else self.first.name

    @property
    def plain_name(self) -> str:
        """The same for people."""
        return f"{self.first.plain_name} ({self.told_by})" if self.told_by else self.first.plain_name

    @property
    def sources(self) -> str:
        """The sources that recorded it, in order of time."""
        return ", ".join(dict.fromkeys(channel.source for channel in self.channels))

    @property
    def joined(self) -> str:
        """That it was joined, as a phrase; empty for one channel."""
        if len(self.channels) == 1:
            return ""
        return f"joined from {' and '.join(channel.id for channel in self.channels)}, one after another"


def signals(case: Case) -> dict[str, Signal]:
    """Signals of a case by the name that rules know them by, waves first.

    A recorded mean goes by its site only where the site has no wave. A channel whose kind or unit is not
    known is left out: no rule and no measure may go by its numbers.
    """
    named: dict[str, list[Channel]] = {}
    for channel in sorted(case.channels, key=lambda channel: (not channel.is_wave, channel.id)):
        units = KINDS[channel.kind].units
        if channel.statistic not in ("wave", "mean", "value") or not units or channel.unit != units[0]:
            continue
        name = channel.name.removesuffix("_mean") if channel.kind.endswith("_pressure") else channel.name
        if name in named and not _follows(channel, named[name]):
            name = channel.name if channel.name not in named else channel.id
        named.setdefault(name, []).append(channel)
    found = {
        name: Signal(name, tuple(sorted(group, key=lambda channel: (channel.span.start, channel.id))))
        for name, group in named.items()
    }
    return _told_apart(found)


def under_their_site(found: dict[str, Signal], believed: Signal | None) -> dict[str, Signal]:
    """The same signals, the believed one under its canonical name where another had that: rules go by names."""
    site = believed.first.name if believed is not None else ""
    if believed is None or believed.name != believed.first.id or site not in found:
        return found
    twin = found[site]
    renamed = {believed.name: replace(believed, name=site), site: replace(twin, name=twin.first.id)}
    out = [renamed.get(name, signal) for name, signal in found.items()]
    return {signal.name: signal for signal in out}


def _follows(channel: Channel, group: list[Channel]) -> bool:
    """Whether a channel goes on where the others of a name end, or before they begin."""
    return all(_same_sort(channel, other) and _one_after_another(channel, other) for other in group)


def _same_sort(one: Channel, other: Channel) -> bool:
    # Which line a pressure without a site is, only its label says.
    known = one.kind != "arterial_pressure" or bool(one.site) or one.label == other.label
    return known and one.is_wave == other.is_wave


def _one_after_another(one: Channel, other: Channel) -> bool:
    shorter = min(one.span.duration, other.span.duration)
    return one.span.overlap(other.span) <= max(SHARED_S, SHARED_PART * shorter)


def _told_apart(found: dict[str, Signal]) -> dict[str, Signal]:
    """The same signals, each of those that share a canonical name told by its sources."""
    told = {}
    for name, signal in found.items():
        twins = [other for other in found.values() if other.first.name == signal.first.name]
        if len(twins) > 1:
            alone = sum(other.sources == signal.sources for other in twins) == 1
            signal = replace(signal, told_by=signal.sources if alone else signal.first.id)
        told[name] = signal
    return told


def signal_called(case: Case, name: str) -> Signal:
    """The signal that a name means: canonical name, id or key of one of its channels, or its token.

    Raises
    ------
    NoSuchChannel
        When none or several fit.
    """
    all_of_them = list(signals(case).values())
    for fits in (
        lambda one: any(channel.id == name for channel in one.channels),
        lambda one: name in (one.token, one.plain_name),
        lambda one: one.first.name == name,
        lambda one: one.name == name,
        lambda one: any(channel.key == name for channel in one.channels),
    ):
        fitting = [one for one in all_of_them if fits(one)]
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            break
    else:
        fitting = []
    have = ", ".join(sorted(f"{one.token} ({one.first.id})" for one in fitting or all_of_them))
    raise NoSuchChannel(
        f"{'several channels are' if fitting else 'no channel is'} called {name!r}; there are: {have}",
        path=case.folder,
        todo="Use the id in brackets",
    )
