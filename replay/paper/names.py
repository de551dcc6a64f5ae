"""What the paper calls the lines that rules, figures and marks name, and which channels stand behind a name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..wording import site_words

if TYPE_CHECKING:
    from afterclamp.annotate.named import Signal
    from afterclamp.io.case import Case, Channel


@dataclass(frozen=True)
class Names:
    """The names of one case's lines; called with one of them it gives what people say.

    Attributes
    ----------
    case : Case
    signals : mapping of str to Signal
        By the name that rules know them by. One that goes on in another file has several channels.
    """

    case: Case
    signals: Mapping[str, Signal]

    @classmethod
    def of(cls, case: Case, believe: str | None = None) -> Names:
        """The names as the rules used them, with the arterial site that they went by."""
        from afterclamp.annotate.named import signals, under_their_site
        from afterclamp.annotate.site import believed_signal

        return cls(case, under_their_site(signals(case), believed_signal(case, believe)[0]))

    def __call__(self, name: str) -> str:
        """As people say it."""
        if name in self.signals:
            return self.signals[name].plain_name
        said = (channel.plain_name for channel in self.case.channels if channel.id == name)
        return next(said, None) or site_words(name)

    def channels(self, names: Sequence[str]) -> list[Channel]:
        """Channels by canonical name or id, each once; two lines may share a name where no site is known."""
        found: dict[str, Channel] = {}
        for name in names:
            called = [one for one in self.case.channels if name in (one.name, one.id)]
            found |= {one.id: one for one in (*self._recorded(name), *called) if one.count}
        return list(found.values())

    def line(self, name: str) -> list[Channel]:
        """The channels of one line, in order of time; empty where nothing is called so."""
        return [one for one in self._recorded(name) if one.count] or self.channels([name])[:1]

    def _recorded(self, name: str) -> tuple[Channel, ...]:
        return self.signals[name].channels if name in self.signals else ()
