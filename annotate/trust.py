"""The trust strip: which arterial line is believed at each time, and why, with the quality of every line.

Rules propose (`trust_rules`); what a person chose stands over them (`site_choices`). Figures go by the line that is
believed throughout and by what people chose; stand-ins are judged for finds and told beside the figures in words,
never mixed into them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .kept_finds import kept_finds
from .named import Signal, signals
from .quality import MEAN_ONLY, NOTHING, channel_key, quality_class
from .site import believed_signal, code_of, judged_each_second
from .site_choices import Piece, chosen_pieces, whole_case_choice
from .trust_rules import CHOSEN, TrustSpan, proposed_spans

if TYPE_CHECKING:
    from afterclamp.io.case import Case

    from .view import View


@dataclass(frozen=True)
class TrustLine:
    """One row of the strip.

    Attributes
    ----------
    name, token, words : str
        As in `named.signals`, in the log, and for people.
    classes : ndarray of uint8
        `quality.quality_class` of each second.
    """

    name: str
    token: str
    words: str
    classes: NDArray[np.uint8]


@dataclass(frozen=True)
class TrustStrip:
    """The strip of one case, or of a view of its past.

    Attributes
    ----------
    start : float
        Reference second of the first second of every row.
    lines : tuple of TrustLine
        Every arterial wave, in the order in which they would be believed.
    proposal : tuple of TrustSpan
        Without what people chose for stretches; with what they chose for the whole case.
    chosen : tuple of Piece
        What people chose for stretches.
    base : str
        The line that is believed throughout.
    nothing : str
        Why there is no line to believe, else empty.
    """

    start: float
    lines: tuple[TrustLine, ...]
    proposal: tuple[TrustSpan, ...]
    chosen: tuple[Piece, ...] = ()
    base: str = ""
    nothing: str = ""

    @property
    def spans(self) -> tuple[TrustSpan, ...]:
        """What is believed when: the proposal with what people chose over it, in order of time."""
        return laid_over_proposal(self.proposal, self.chosen, self.words)

    @property
    def end(self) -> float:
        """Past-last reference second."""
        return self.start + (self.lines[0].classes.size if self.lines else 0)

    def words(self, name: str) -> str:
        """A line as people say it."""
        return next((one.words for one in self.lines if one.name == name), name.replace("_", " "))

    def line(self, name: str) -> TrustLine | None:
        """The row of this name."""
        return next((one for one in self.lines if one.name == name), None)

    def class_at(self, name: str, t: float) -> int:
        """Quality class of a line at a reference time; `quality.NOTHING` outside the record."""
        line, second = self.line(name), int(np.floor(t - self.start))
        if line is None or not 0 <= second < line.classes.size:
            return NOTHING
        return int(line.classes[second])

    def with_choices(self, case: Case) -> TrustStrip:
        """The same strip with what people have chosen by now; no sample is read.

        Another line for the whole case is shown alone until `trust_strip` has looked for what stands in for it.
        """
        whole = whole_case_choice(case)
        strip = replace(self, chosen=chosen_pieces(case))
        if whole is None or whole[0].name == self.base:
            return strip
        signal, author = whole
        only = TrustSpan(
            self.start, self.end, signal.name, _chosen_words(signal.plain_name, author), CHOSEN, author
        )
        return replace(strip, proposal=(only,), base=signal.name)


def trust_strip(case: Case) -> TrustStrip:
    """Which arterial line is believed in a case, when, and why.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time: then nothing after it is used.
    """
    view = kept_finds(case).view
    found = [
        one for one in signals(case).values() if one.first.kind == "arterial_pressure" and one.first.is_wave
    ]
    classes = _classes(case, found)
    site, reason = believed_signal(case)
    names = {_name_in(view, one, site): one for one in found}
    lines = {one.name: TrustLine(one.name, one.token, one.plain_name, classes[one.name]) for one in found}
    usable = {name: classes[one.name] <= MEAN_ONLY for name, one in names.items()}
    whole = whole_case_choice(case)
    by = whole[1] if whole is not None and site is not None and whole[0].name == site.name else ""
    proposed = [
        replace(one, line=names[one.line].name if one.line else "")
        for one in proposed_spans(view, usable, by)
    ]
    order = judged_each_second(view)[0] if view.believed in view.values else []
    ordered = [names[name].name for name in order if name in names]
    return TrustStrip(
        start=view.start,
        lines=tuple(lines[name] for name in dict.fromkeys([*ordered, *lines])),
        proposal=tuple(proposed),
        chosen=chosen_pieces(case),
        base=site.name if site is not None else "",
        nothing="" if site is not None else reason,
    )


def _name_in(view: View, signal: Signal, believed: Signal | None) -> str:
    """What a view calls a line: the believed one has its canonical name there, whoever else has it."""
    if believed is not None and signal.name == believed.name:
        return view.believed
    return signal.name if signal.name in view.values and signal.name != view.believed else signal.first.id


def _classes(case: Case, found: Sequence[Signal]) -> dict[str, NDArray[np.uint8]]:
    """Quality class of each second of some lines; of the whole case they are kept in its cache."""

    def computed() -> dict[str, NDArray[Any]]:
        grid = np.asarray(case.grid, dtype=np.float64)
        # Of a line in several files the recording that has the second; they come in order of time.
        return {
            one.name: np.minimum.reduce([quality_class(channel, grid) for channel in one.channels])
            for one in found
        }

    if case.horizon is not None:
        return computed()
    parts = (code_of(), *((one.name, *map(channel_key, one.channels)) for one in found))
    return dict(case.cached("trust", parts, computed))


def laid_over_proposal(
    proposal: Sequence[TrustSpan], chosen: Iterable[Piece], words: Callable[[str], str]
) -> tuple[TrustSpan, ...]:
    """The spans of a proposal with what people chose over them."""
    found = list(proposal)
    for piece in chosen:
        new = TrustSpan(
            piece.start_s,
            piece.end_s,
            piece.line,
            _chosen_words(words(piece.line), piece.author),
            CHOSEN,
            piece.author,
        )
        left = [replace(one, end_s=min(one.end_s, new.start_s)) for one in found]
        right = [replace(one, start_s=max(one.start_s, new.end_s)) for one in found]
        found = [one for one in (*left, new, *right) if one.end_s > one.start_s]
        found = list(dict.fromkeys(sorted(found, key=lambda one: one.start_s)))
    return tuple(found)


def _chosen_words(words: str, author: str) -> str:
    return f"{words}: chosen by {author}"
