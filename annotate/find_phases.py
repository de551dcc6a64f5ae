"""In which phase of the operation something begins."""

from __future__ import annotations

from collections.abc import Iterable

from .phase_model import Phase

OUTSIDE = ""
"""Token of a moment outside every phase."""


def phases_at(phases: Iterable[Phase], time_s: float) -> tuple[str, ...]:
    """Tokens of the phases that hold a moment, the longest first, so that the innermost comes last.

    Parameters
    ----------
    phases : iterable of Phase
        In force.
    time_s : float
        Reference seconds; the end of a phase is outside it.

    Returns
    -------
    tuple of str
        Each token once; empty outside every phase.

    Examples
    --------
    >>> phases_at((), 10.0)
    ()
    """
    holding = [phase for phase in phases if phase.start_s <= time_s < phase.end_s]
    ordered = sorted(holding, key=lambda phase: phase.start_s - phase.end_s)
    return tuple(dict.fromkeys(phase.name for phase in ordered))
