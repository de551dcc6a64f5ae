"""Transducer height shift (A7): every pressure of one pole steps by the same amount, and its pulse stays.

A transducer that is 10 cm too low reads 10 cm of water, 7.36 mmHg, too high (UCUM: 1 cm[H2O] = 98.0665 Pa,
1 mm[Hg] = 133.322 Pa). A pole carries all transducers of a monitor, so that all its lines move together, the
venous and the pulmonary artery pressure by as much as an artery: no circulation does that. The lines of one source
are taken for those of one pole.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from .artefact_numbers import HEIGHT
from .line_seconds import LineSeconds
from .memory import Memory
from .own_shapes import PRESSURES
from .parameter import numbers_of
from .pole_steps import Step, amounts_of, common_steps
from .wave_artefacts import Artefact

if TYPE_CHECKING:
    from .view import View

MMHG_PER_CM = 98.0665 / 133.322
"""Pressure of one centimetre of water, mm[Hg]; of blood it would be about a twentieth more."""


_POLES: Memory[tuple[tuple[LineSeconds, ...], list[list[Step]]]] = Memory(2)


def height_shifts(line: LineSeconds, others: tuple[LineSeconds, ...]) -> list[Artefact]:
    """A7 of one line, from all the lines of its source.

    Parameters
    ----------
    line : LineSeconds
        The line that is asked about; nothing is found on one that is no pressure.
    others : tuple of LineSeconds
        The other lines of its case, on the same grid; those of another source are passed over.

    Returns
    -------
    list of Artefact
        Start and end are those of the pole, the same for each of its lines: what moves is the pole. Nothing where
        fewer than three lines of two kinds were recorded (`can_tell`).
    """
    if not _on_a_pole(line):
        return []
    source = line.channel.source
    pole = tuple(
        sorted(
            (one for one in (line, *others) if one.channel.source == source and _on_a_pole(one)),
            key=lambda one: one.channel.id,
        )
    )
    if not can_tell((one.channel.kind, _place(one)) for one in pole):
        return []
    # Every line of a pole asks the same. What is kept holds the lines, so that no other can have their identity.
    key = (*map(id, pole), *numbers_of(HEIGHT).values())
    _, groups = _POLES.get(key, lambda: (pole, _steps_of(pole)))
    return _spans(groups, pole, [one.channel.id for one in pole].index(line.channel.id))


def _steps_of(pole: Sequence[LineSeconds]) -> list[list[Step]]:
    """Steps of a pole in groups, each from the first one away to the one back; the last may lack its way back.

    Where it does, a line that was hidden at its first step is not asked from there on: it may hang elsewhere, and
    would speak against the way back.
    """
    level = np.array([one.mean for one in pole])
    swing = np.array([one.swing for one in pole])
    kinds, places = [one.channel.kind for one in pole], [_place(one) for one in pole]
    groups = _grouped(common_steps(level, swing, kinds=kinds, places=places))
    if groups and not _is_back(groups[-1]):
        first = groups[-1][0]
        hidden = np.isnan(first.amounts)
        if hidden.any():
            level[hidden, first.begins :] = np.nan
            again = _grouped(common_steps(level, swing, kinds=kinds, places=places))
            return again or groups
    return groups


def can_tell(lines: Iterable[tuple[str, str]]) -> bool:
    """Whether lines, each a kind and the place that it measures at, are enough to tell a pole from a patient."""
    found = set(lines)
    by = numbers_of(HEIGHT)
    return len(found) >= by["lines"] and len({kind for kind, _ in found}) >= by["kinds"]


def has_a_pole(view: View) -> bool:
    """The same of the channels of a view, by their names: whether any source has such lines."""
    sources: dict[str, set[tuple[str, str]]] = {}
    for name in view.values:
        place = name.removesuffix("_mean").removesuffix("_systolic").removesuffix("_diastolic")
        kind = place if place in ("cvp", "pa") else "arterial" if place in view.arterial else ""
        if kind and view.get(name) is not None:
            sources.setdefault(view.source.get(name, ""), set()).add((kind, place))
    return any(can_tell(lines) for lines in sources.values())


def _on_a_pole(line: LineSeconds) -> bool:
    channel = line.channel
    quick = channel.is_wave or channel.interval_s <= HEIGHT["interval"].value
    return channel.kind in PRESSURES and channel.unit == "mm[Hg]" and quick


def _place(line: LineSeconds) -> str:
    """What tells two lines apart: mean and systolic of one line, or two lines without a site, are one."""
    return f"{line.channel.kind} {line.channel.side} {line.channel.site}"


# -- stretches -------------------------------------------------------------------------------------


def _is_back(steps: Sequence[Step]) -> bool:
    """Whether a pole is where it was: it may go back in two steps, or too far and back again."""
    return len(steps) > 1 and abs(sum(one.common for one in steps)) <= HEIGHT["back"].value


def _grouped(steps: Sequence[Step]) -> list[list[Step]]:
    groups: list[list[Step]] = []
    for step in steps:
        if groups and not _is_back(groups[-1]):
            groups[-1].append(step)
        else:
            groups.append([step])
    return groups


def _spans(groups: Sequence[list[Step]], pole: Sequence[LineSeconds], own: int) -> list[Artefact]:
    """From a step until the lines are back; of one line, where it stepped too."""
    by = numbers_of(HEIGHT)
    found: list[Artefact] = []
    for steps in groups:
        back = (steps[-1].settled, "") if _is_back(steps) else _left_open(steps[0], pole, own)
        found += _told(steps, *back, pole, own)
    start = pole[own].start
    return [
        one for one in found if one.end - one.start >= by["shortest"] or one.end >= start + pole[own].count
    ]


def _left_open(first: Step, pole: Sequence[LineSeconds], own: int) -> tuple[int, str]:
    """Where a shift ends that was not undone: at the line's next opening to air, else with its record."""
    line = pole[own]
    for one in line.own:
        if one.code == "A1" and one.start >= line.start + first.settled:
            return line.index(one.start), "the line was opened to air, which may have set its level anew"
    recorded = np.flatnonzero(np.isfinite(line.mean))
    return int(recorded[-1]) + 1, "the record ended before the lines stepped back"


def _told(
    steps: Sequence[Step], end: int, left_open: str, pole: Sequence[LineSeconds], own: int
) -> list[Artefact]:
    first, line = steps[0], pole[own]
    amount, half = _own_amount(first, line, own)
    if not np.isfinite(amount):
        return []
    seen = first.amounts[np.isfinite(first.amounts)]
    evidence: dict[str, Any] = {
        "reason": _words(first, seen.size, left_open),
        "common_step_mmhg": round(first.common, 1),
        "lines_apart_mmhg": round(float(np.max(np.abs(seen - first.common))), 1),
        "height_cm": round(first.common / MMHG_PER_CM),
        "amount_mmhg": round(amount, 1),
        "amount_half_mmhg": round(half, 1),
        "later_steps_mmhg": [round(one.common, 1) for one in steps[1:]],
        "left_open": left_open,
    }
    return [Artefact("A7", line.start + first.begins, line.start + end, evidence)]


def _own_amount(step: Step, line: LineSeconds, own: int) -> tuple[float, float]:
    """What a line stepped by, with its ±; NaN for one that was hidden and did not come back as much higher or lower.

    A line that is flushed or sampled while the pole moves has moved with it all the same.
    """
    if np.isfinite(step.amounts[own]):
        return float(step.amounts[own]), float(step.halves[own])
    by = numbers_of(HEIGHT)
    [amount], [half] = amounts_of(
        line.mean[None, :], step.begins, step.settled, np.ones(1, np.bool_), round(by["hidden_around"])
    )
    if not abs(amount - step.common) <= by["hidden_apart"]:
        return float("nan"), float("nan")
    return float(amount), float(half)


def _words(first: Step, lines: int, left_open: str) -> str:
    common = first.common
    lower, higher = ("lower", "higher") if common > 0 else ("higher", "lower")
    words = (
        f"reference-level shift: {lines} lines of one pole read {abs(common):.0f} mmHg {higher} within "
        f"{first.settled - first.begins} s, their pulses unchanged, as with transducers "
        f"{abs(common) / MMHG_PER_CM:.0f} cm {lower} against the patient"
    )
    if left_open:
        words += f"; {left_open}: which side of the step is at the wrong level cannot be told"
    return words
