"""What a moment is called when times are counted from it: what begins, ends or was marked there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from afterclamp.annotate.finds import Find
from afterclamp.annotate.marks import Mark
from afterclamp.annotate.phase_model import Phase

from .wording import phase_name

NEAR_S = 1.0  # a moment is on a grid of seconds
CIRCULATION_OFF = ("lower_body_arrest", "selective_cerebral", "no_flow_arrest")
"""Phases without flow to the whole body: teams count from these first (this project's choice)."""

_SHORT: Mapping[str, str] = {
    "no_flow_arrest": "no flow",
    "selective_cerebral": "brain perfusion",
    "lower_body_arrest": "arrest",
}
"""Names that fit beside a time axis."""


def moment_words(
    t: float,
    phases: Sequence[Phase],
    marks: Iterable[Mark],
    finds: Iterable[Find],
    class_names: Mapping[str, str],
) -> str:
    """What begins, ends or was marked within a second of `t`; empty where nothing is known of it.

    What begins is named before what ends, since one phase mostly ends where the next begins. Of several that
    begin together it is the circulation that goes off, else the phase that lies within the others.
    """
    for begins in (True, False):
        here = [one for one in phases if abs((one.start_s if begins else one.end_s) - t) <= NEAR_S]
        if here:
            name = max(here, key=lambda one: (one.name in CIRCULATION_OFF, _depth(one, phases))).name
            words = _SHORT.get(name, phase_name(name))
            return words if begins else f"end of {words}"
    for mark in marks:
        if abs(mark.start_s - t) <= NEAR_S:
            return mark.text or class_names.get(mark.code, "the mark")
    return next((find.name for find in finds if abs(find.start_s - t) <= NEAR_S), "")


def _depth(phase: Phase, phases: Sequence[Phase]) -> int:
    """In how many phases it lies."""
    parents = {one.name: one.parent for one in phases}
    depth, name = 0, phase.parent
    while name and depth < len(parents):
        depth, name = depth + 1, parents.get(name, "")
    return depth
