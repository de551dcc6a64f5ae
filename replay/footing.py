"""What every page and every export of a case carries at its foot: limits, what was seen, which case, which program."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.annotate.series import MASKED, OBSERVED, StateArray

from .cautions import footer
from .wording import readable

if TYPE_CHECKING:
    from afterclamp.annotate.limits import LimitSet
    from afterclamp.annotate.marks import Verdict
    from afterclamp.io.case import Case

UNSIGNED = "____"
"""Room for a name where nobody confirmed anything."""


def case_hash(case: Case) -> str:
    """Twelve characters that change when a source or an edit of the case does."""
    digest = hashlib.sha256()
    for source in case.sources:
        for name, sha in source.files:
            digest.update(f"{source.name}\0{name}\0{sha}\n".encode())
    for edit in case.log.edits:
        digest.update(
            f"{edit.id}\0{edit.verb}\0{edit.supersedes}\0{sorted(edit.payload.items())!r}\n".encode()
        )
    return digest.hexdigest()[:12]


def program_version() -> str:
    """Name and version of this program."""
    return f"afterclamp {version('afterclamp')}"


@dataclass(frozen=True, slots=True)
class CaseFooting:
    """The numbers of the footer.

    Attributes
    ----------
    limits : str
        Set, source and version of the limits in force.
    seen_s, of_s : float
        Seconds in which at least one channel was observed, of the seconds of the record.
    masked_s : float
        Seconds in which at least one channel is taken for artefact.
    confirmed_by : tuple of str
        Who gave a verdict, on how many finds, and how many nobody reviewed; see `confirmed_words`.
    case_hash : str
    """

    limits: str
    seen_s: float
    of_s: float
    masked_s: float
    confirmed_by: tuple[str, ...]
    case_hash: str

    @classmethod
    def of(
        cls,
        case: Case,
        *,
        limits: Sequence[LimitSet],
        states: Mapping[str, StateArray],
        confirmed_by: Sequence[str] = (),
    ) -> CaseFooting:
        """Count what was seen and masked, over all channels; `states` as `quality.seconds_state` gives them."""
        seen = np.zeros(len(case.grid), np.bool_)
        hidden = np.zeros(len(case.grid), np.bool_)
        for state in states.values():
            seen |= state == OBSERVED
            hidden |= state == MASKED
        return cls(
            limits=limits_words(limits),
            seen_s=float(seen.sum()),
            of_s=float(len(case.grid)),
            masked_s=float(hidden.sum()),
            confirmed_by=tuple(confirmed_by),
            case_hash=case_hash(case),
        )

    def text(self, day: date | None = None) -> str:
        """The footer's words."""
        return footer(
            limits=self.limits,
            seen_min=self.seen_s / 60,
            of_min=self.of_s / 60,
            masked_s=self.masked_s,
            version=program_version(),
            case_hash=self.case_hash,
            day=day,
            confirmed_by=", ".join(self.confirmed_by) or UNSIGNED,
        )


def confirmed_words(said: Mapping[str, Sequence[Verdict]], found: int) -> tuple[str, ...]:
    """Who gave a verdict, on how many of the finds, and how many nobody reviewed.

    One line on one find is no review of them all; without any verdict a line is left to sign on.

    Parameters
    ----------
    said : mapping
        Verdicts by the key of the find, as `marks.verdicts` gives them.
    found : int
        How many finds there are.
    """
    counts: Counter[tuple[str, str]] = Counter()
    for several in said.values():
        counts.update((one.author, one.decision) for one in several)
    authors = sorted({author for author, _ in counts})
    changed = {
        author: sum(counts[author, one] for one in ("reclassified", "joined", "split")) for author in authors
    }
    words = [
        f"{author} ({counts[author, 'accepted']} of {found} accepted, {counts[author, 'set aside']} set aside"
        + (f", {changed[author]} changed)" if changed[author] else ")")
        for author in authors
    ] or [f"{UNSIGNED} (0 of {found})"]
    left = found - sum(1 for several in said.values() if several)
    if left > 0:
        words.append(f"{left} {'find' if left == 1 else 'finds'} not reviewed")
    return tuple(words)


def export_footing(
    case: Case, states: Mapping[str, StateArray], said: Mapping[str, Sequence[Verdict]], found: int
) -> CaseFooting:
    """The footer of what is handed to other programs: by the limits in force for the case.

    Parameters
    ----------
    case : Case
    states : mapping
        As `states_of` gives them.
    said, found : mapping, int
        As in `confirmed_words`.
    """
    from afterclamp.annotate.limits import in_force

    return CaseFooting.of(
        case, limits=in_force(case), states=states, confirmed_by=confirmed_words(said, found)
    )


def numbers_note(case: Case) -> str:
    """For the note of an export: the numbers of rules that people changed, a line each; empty where nobody did."""
    from afterclamp.annotate.rule_numbers import edited_words

    lines = [f"- {readable(line)}.\n" for line in edited_words(case)]
    if not lines:
        return ""
    return f"\nNumbers of rules that people changed in this case; finds were looked for by them:\n{''.join(lines)}\n"


def limits_words(limits: Sequence[LimitSet]) -> str:
    """Set, source and version, ready to print."""
    return "; ".join(f"{one.title} (sources beside each figure)" for one in limits) or "none"


def states_of(case: Case) -> dict[str, StateArray]:
    """State of every second of every channel that holds something, by channel id."""
    from afterclamp.annotate.quality import seconds_state

    return {channel.id: seconds_state(channel, case.grid) for channel in case.channels if channel.count}
