"""Transducer height shift (A7): every pressure of one pole steps by the same amount, and its pulse stays.

A transducer that is 10 cm too low reads 10 cm of water, 7.36 mmHg, too high (UCUM: 1 cm[H2O] = 98.0665 Pa,
1 mm[Hg] = 133.322 Pa). A pole carries all transducers of a monitor, so that all its lines move together, the
venous and the pulmonary artery pressure by as much as an artery: no circulation does that. The lines of one source
are taken for those of one pole.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .artefact_numbers import HEIGHT
from .line_seconds import LineSeconds
from .memory import Memory
from .own_shapes import PRESSURES
from .parameter import Numbers, numbers_of
from .runs import BoolArray, FloatArray, joined_runs, median, true_runs
from .wave_artefacts import Artefact

if TYPE_CHECKING:
    from .view import View

MMHG_PER_CM = 98.0665 / 133.322
"""Pressure of one centimetre of water, mm[Hg]; of blood it would be about a twentieth more."""
Z95 = 1.96


@dataclass(frozen=True, slots=True)
class Step:
    """One step that all lines of a pole made together.

    Attributes
    ----------
    begins, settled : int
        First second in which the change is under way, and first one at the new level.
    amounts, halves : ndarray
        Change of each line in mm[Hg], and the half-width of its 95 % interval; NaN for a line not seen.
    common : float
        Median of the amounts.
    """

    begins: int
    settled: int
    amounts: FloatArray
    halves: FloatArray
    common: float


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


# -- steps -----------------------------------------------------------------------------------------


def common_steps(
    level: FloatArray,
    swing: FloatArray,
    *,
    kinds: Sequence[str],
    places: Sequence[str],
    numbers: Numbers | None = None,
) -> list[Step]:
    """Steps that all lines of a pole make by the same amount within a few seconds, their pulses unchanged.

    Parameters
    ----------
    level, swing : ndarray, shape (lines, seconds)
        Mean, and highest less lowest, of each second in mm[Hg]; NaN where nothing can be used.
    kinds, places : sequence of str
        Of each line: its kind of pressure, and where it measures.
    numbers : mapping of str to float, optional
        In place of those of `artefact_numbers.HEIGHT`.

    Returns
    -------
    list of Step
        In order of time. A line of which less than half was recorded just before or just after is not asked.
    """
    by = numbers_of(HEIGHT) if numbers is None else numbers
    width, gap = round(by["window"]), round(by["within"])
    if level.shape[1] < 2 * width + gap:
        return []
    moved = differences(level, width, gap)
    held = _agreeing(moved, kinds, places, by)
    # A pressure that falls all the while steps by another amount than a venous one that does not.
    before, after = _drifts(level, round(by["drift"]), gap)
    steady = np.isin(np.arange(moved.shape[1]), _near(held, width + gap))
    before[:, steady], after[:, steady] = 0.0, 0.0
    without = moved - (before + after) * (width + gap) / 2
    same_way = (np.sign(without) == np.sign(moved)) | ~np.isfinite(moved)
    held |= ~steady & same_way.all(axis=0) & _agreeing(without, kinds, places, by) & _one_way(moved, by)
    moved = without
    common = np.zeros(moved.shape[1])
    common[held] = np.nanmedian(moved[:, held], axis=0)
    found = []
    for sign in (1, -1):
        for start, stop in joined_runs(true_runs(sign * common > 0), gap):
            best = start + int(np.argmax(sign * common[start:stop]))
            if _pulse_changed(swing[np.isfinite(moved[:, best])], best, width, gap, by):
                continue
            drift = before[:, best], after[:, best]
            step = _step(level, moved[:, best], best, drift, width, gap, by)
            if step is not None:
                found.append(step)
    return sorted(found, key=lambda one: one.begins)


def differences(level: FloatArray, width: int, gap: int) -> FloatArray:
    """Mean of the `width` seconds that follow a gap, less that of those before it; by first second of the gap.

    Parameters
    ----------
    level : ndarray, shape (lines, seconds)
        NaN where nothing can be used.
    width, gap : int
        Seconds.

    Returns
    -------
    ndarray, shape (lines, seconds)
        NaN where either side was recorded for less than half.
    """
    lines, n = level.shape
    there = np.isfinite(level)
    total = np.zeros((lines, n + 1))
    count = np.zeros((lines, n + 1))
    np.cumsum(np.where(there, level, 0.0), axis=1, out=total[:, 1:])
    np.cumsum(there, axis=1, out=count[:, 1:])
    sums, counts = total[:, width:] - total[:, :-width], count[:, width:] - count[:, :-width]
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.where(counts >= 0.5 * width, sums / counts, np.nan)
    moved = np.full((lines, n), np.nan)
    last = n - width - gap  # first second of the last gap that has a window behind it
    moved[:, width : last + 1] = means[:, width + gap :] - means[:, : last + 1 - width]
    return moved


def _drifts(level: FloatArray, seconds: int, gap: int) -> tuple[FloatArray, FloatArray]:
    """Change of each line a second over the `seconds` before a gap, and over those after it; 0 where not known."""
    half = max(seconds // 2, 1)
    within = np.full(level.shape, np.nan)
    moved = differences(level, half, 0)
    within[:, : moved.shape[1]] = moved / half  # by the middle of so many seconds
    before, after = np.zeros(level.shape), np.zeros(level.shape)
    before[:, half:] = within[:, :-half]
    after[:, : level.shape[1] - gap - half] = within[:, gap + half :]
    return np.nan_to_num(before, nan=0.0), np.nan_to_num(after, nan=0.0)


def _near(held: BoolArray, reach: int) -> NDArray[np.intp]:
    """Seconds within so many of one that holds."""
    at = np.flatnonzero(held)
    return np.unique((at[:, None] + np.arange(-reach, reach + 1)).ravel())


def _one_way(moved: FloatArray, by: Numbers) -> BoolArray:
    """Seconds at which every line that was seen moved the same way by itself: a drift taken off makes no step."""
    least = by["step"] - by["apart"]
    with np.errstate(invalid="ignore"):
        return np.asarray((np.fmin.reduce(moved) >= least / 2) | (np.fmax.reduce(moved) <= -least / 2))


def _agreeing(moved: FloatArray, kinds: Sequence[str], places: Sequence[str], by: Numbers) -> BoolArray:
    """Seconds at which enough lines were seen, and all of them moved by about as much."""
    least = by["step"] - by["apart"]
    held = (np.fmin.reduce(moved) >= least) | (np.fmax.reduce(moved) <= -least)
    at = np.flatnonzero(held)  # few: a median of every second would cost more than all the rest
    amounts = moved[:, at]
    seen = np.isfinite(amounts)
    common = np.nanmedian(amounts, axis=0)
    with np.errstate(invalid="ignore"):
        near = (np.abs(amounts - common) <= by["apart"]) | ~seen
    held[at] = (
        near.all(axis=0)
        & (np.abs(common) >= by["step"])
        & (_different(seen, places) >= by["lines"])
        & (_different(seen, kinds) >= by["kinds"])
    )
    return np.asarray(held)


def _different(seen: BoolArray, names: Sequence[str]) -> NDArray[np.intp]:
    """How many different names are among the rows that were seen, by column."""
    own = np.array(names)
    return np.asarray(sum(seen[own == name].any(axis=0).astype(np.intp) for name in sorted(set(names))))


def _pulse_changed(swing: FloatArray, at: int, width: int, gap: int, by: Numbers) -> bool:
    """Whether the pulse of any line is another after the gap than before it."""
    for line in swing:
        before, after = median(line[at - width : at]), median(line[at + gap : at + gap + width])
        if abs(after - before) > max(by["pulse_mmhg"], by["pulse"] / 100 * before):
            return True
    return False


def _step(
    level: FloatArray,
    moved: FloatArray,
    at: int,
    drift: tuple[FloatArray, FloatArray],
    width: int,
    gap: int,
    by: Numbers,
) -> Step | None:
    """Where a step began and was over, read from all lines at once, the quiet ones counting most.

    `drift` is what each line changes by in a second before it, and after it: taken off on either side of its middle.
    """
    first, last = at - width, at + gap + width
    away = np.arange(last - first) - (width + (gap - 1) / 2)
    piece = level[:, first:last] - np.where(away < 0, drift[0][:, None], drift[1][:, None]) * away
    old = _mean(piece[:, :width])
    scatter = np.hypot(_scatter(piece[:, :width]), _scatter(piece[:, width + gap :]))
    seen = np.isfinite(moved)
    weight = np.where(seen, (moved / np.maximum(scatter, 0.1)) ** 2, 0.0)[:, None] * np.isfinite(piece)
    part = np.where(weight > 0, (piece - old[:, None]) / moved[:, None], 0.0)
    whole = weight.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        course = np.where(whole > 0, (weight * part).sum(axis=0) / whole, np.nan)
    half = np.flatnonzero(course[: width + gap + 1] >= 0.5)
    if not half.size:
        return None
    share = by["share"] / 100
    still = np.flatnonzero(course[: half[0] + 1] <= share)
    there = half[0] + np.flatnonzero(course[half[0] :] >= 1 - share)
    if not still.size or not there.size or there[0] - still[-1] - 1 > gap:
        return None
    begins, settled = int(first + still[-1] + 1), int(first + there[0])
    amounts, halves = _amounts(level, begins, settled, seen, round(by["around"]), drift)
    return Step(begins, settled, amounts, halves, median(amounts))


def _amounts(
    level: FloatArray,
    begins: int,
    settled: int,
    seen: BoolArray,
    around: int,
    drift: tuple[FloatArray | float, FloatArray | float] = (0.0, 0.0),
) -> tuple[FloatArray, FloatArray]:
    """Change of each line over a step, and the half-width of its 95 % interval by the scatter of the seconds."""
    old, new = level[:, max(begins - around, 0) : begins], level[:, settled : settled + around]
    half_step = (settled - begins + 1) / 2
    drifted = drift[0] * (old.shape[1] - 1 + 2 * half_step) / 2 + drift[1] * (
        new.shape[1] - 1 + 2 * half_step
    ) / 2
    amounts = np.where(seen, _mean(new) - _mean(old) - drifted, np.nan)
    halves = Z95 * np.hypot(_scatter(old) / _root(old), _scatter(new) / _root(new))
    return amounts, np.where(seen, halves, np.nan)


def _mean(piece: FloatArray) -> FloatArray:
    there = np.isfinite(piece)
    count = there.sum(axis=1)
    total = np.where(there, piece, 0.0).sum(axis=1)
    return np.asarray(np.divide(total, count, out=np.full(len(piece), np.nan), where=count > 0))


def _scatter(piece: FloatArray) -> FloatArray:
    there = np.isfinite(piece)
    count = there.sum(axis=1)
    apart = np.where(there, piece - _mean(piece)[:, None], 0.0) ** 2
    variance = np.divide(apart.sum(axis=1), count - 1, out=np.zeros(len(piece)), where=count > 1)
    return np.asarray(np.sqrt(variance))


def _root(piece: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.maximum(np.isfinite(piece).sum(axis=1), 1)))


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
    [amount], [half] = _amounts(
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
