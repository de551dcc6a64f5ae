"""Which artefact a stretch without pulse or ripple is, by how it begins, lies and ends (A3, A5, A6)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .artefact_numbers import CUFF, KINK, LOST, SAMPLE
from .line_seconds import LineSeconds
from .parameter import numbers_of
from .pulse_course import STEP_S, PulseCourse
from .runs import FloatArray, back_date, median, running_mean, settled
from .wave_artefacts import Artefact

LEVEL_STEPS = 25  # of `STEP_S`: over 2 s a beat is taken out of a level
ARM = ("radial", "brachial")
EDGE_REACH_S = 5.0  # how far from a stretch its sharp edges may lie
AFTER_S = (2.0, 12.0)  # after its end, over which the level that comes back is taken


@dataclass(frozen=True, slots=True)
class LostStretch:
    """A stretch without movement.

    Attributes
    ----------
    course : PulseCourse
        Level and movement there and around it.
    base : float
        Power of the movement before it.
    first, last : int
        First step without movement, and first step after.
    began : int
        Step in which a movement that was lost slowly began to be lost; -1 where it was lost at once.
    """

    course: PulseCourse
    base: float
    first: int
    last: int
    began: int = -1

    @property
    def start(self) -> float:
        """When the movement was lost, or began to be lost where that took its time."""
        sharp = self._edge(self.first, -1)
        return min(sharp, self.course.time(self.began)) if self.began >= 0 else sharp

    @property
    def end(self) -> float:
        """When it came back, if it came at once; the last moment seen if it did not."""
        return self._edge(self.last - 1, 1)

    @property
    def returned(self) -> bool:
        """Whether anything follows that was recorded."""
        after = self.course.level[self.last : self.last + int(AFTER_S[1] / STEP_S)]
        return bool(np.isfinite(after).sum() * STEP_S >= 1)

    @property
    def over(self) -> bool:
        """Whether it came back, and so much follows that it is known what it was."""
        return self.returned and (self.course.level.size - self.last) * STEP_S >= AFTER_S[1]

    @property
    def loss_s(self) -> float:
        """How long the movement took to be lost, from three quarters of its power, the window taken off."""
        power = self.course.power[max(self.first - int(20 / STEP_S), 0) : self.first]
        high = np.flatnonzero(~(power < 0.75 * self.base))
        whole = (power.size - int(high[-1]) if high.size else power.size) * STEP_S
        return max(whole - 0.6 * self.course.window_s, 0.0)

    @property
    def level_before(self) -> float:
        """Median level of the time before, mmHg."""
        start = self.start
        return median(
            self.course.level[
                self.course.between(start - LOST["before"].value / 2, start - LOST["clear"].value / 2)
            ]
        )

    def levels(self) -> FloatArray:
        """Level of each step over 2 s around it."""
        return running_mean(self.course.level, LEVEL_STEPS)

    def _edge(self, step: int, way: int) -> float:
        reach = int(EDGE_REACH_S / STEP_S)
        around = (
            self.course.power[max(step - reach, 0) : step + 1][::-1]
            if way < 0
            else self.course.power[step : step + reach]
        )
        over = np.flatnonzero(~(around < self.course.edge * self.base))
        return self.course.time(step + way * (int(over[0]) if over.size else 0))

    def seen(self) -> dict[str, Any]:
        """Evidence that every shape shares."""
        swing = 2 * np.sqrt(2 * self.base)
        left = 2 * np.sqrt(2 * max(median(self.course.power[self.first : self.last]), 0.0))
        told = {
            "movement_before_mmhg": round(float(swing), 1),
            "movement_left_mmhg": round(float(left), 1),
            "before_mmhg": round(self.level_before, 1),
        }
        if self.course.ripple_hz:
            told["ripple_hz"] = round(self.course.ripple_hz, 2)
        return told


def closed_tap(line: LineSeconds, stretch: LostStretch) -> Artefact | None:
    """A3: movement lost at once, and a flush, or an opening to air and then a flush, at the end."""
    by = numbers_of(SAMPLE)
    flush = _flush_at_end(line, stretch.course.time(stretch.last), by["flush"])
    if flush is None or stretch.loss_s > by["within"] + by["slack"] / 2:
        return None
    start = stretch.start
    length = flush[0] - start
    if not by["shortest"] - by["slack"] <= length <= by["longest"] + by["slack"]:
        return None
    inside = stretch.course.level[stretch.first : stretch.last]
    drift = median(inside[-12:]) - median(inside[:12])
    return Artefact(
        "A3",
        start,
        flush[1],
        {
            "reason": f"pulse lost at once, {length:.0f} s without it, and a flush at the end",
            "still_s": round(length, 1),
            "drift_mmhg": round(drift, 1),
            "flush_s": round(flush[1] - flush[0], 1),
            **stretch.seen(),
        },
    )


def _flush_at_end(line: LineSeconds, end: float, within: float) -> tuple[float, float] | None:
    """Where the closed stretch ends, and the end of the flush that follows: at once, or after openings to air."""
    ends, upto = end, end
    for one in line.own:
        if one.end <= end - within or one.code == "A9":
            continue
        if one.start > upto + within:
            return None
        ends = one.start if upto == end else ends
        upto = one.end
        if one.code == "A2":
            return ends, upto
    return None


def cuff(line: LineSeconds, stretch: LostStretch) -> Artefact | None:
    """A6: the pressure of an arm falls within seconds to a flat level, and comes back as fast or in steps.

    No cuff lies upstream of a line elsewhere: there the same shape is an artery or a catheter that was pressed (A5).
    """
    by = numbers_of(CUFF)
    if line.channel.kind != "arterial_pressure" or not stretch.returned:
        return None
    levels = stretch.levels()
    slack = by["slack"]
    reach = int((by["slowest"] + slack) / STEP_S)
    before = median(levels[max(stretch.first - 2 * reach, 0) : max(stretch.first - reach, 1)])
    floor = median(levels[(stretch.first + stretch.last) // 2 : stretch.last])
    if not before - floor >= by["fall"]:
        return None
    share = by["share"] / 100
    middle = (stretch.first + stretch.last) // 2
    low = max(stretch.first - reach, 0)
    under = np.flatnonzero(~(levels[low : middle + 1] > (before + floor) / 2))
    if not under.size:
        return None  # it fell later than in the first half: no cuff
    half = low + int(under[0])
    begins = back_date(levels[: half + 1], half, base=before, after=floor, fraction=share)
    down = settled(levels[: middle + 1], half, base=before, after=floor, fraction=share)
    after = median(levels[stretch.last + reach // 2 : stretch.last + 2 * reach])
    if not after - floor >= by["fall"]:
        return None
    ends = settled(levels, stretch.last - 1, base=floor, after=after, fraction=share)
    rises = back_date(levels[: ends + 1], ends, base=floor, after=after, fraction=share)
    fell_s, flat_s, back_s, whole_s = (
        STEP_S * steps for steps in (down - begins, rises - down, ends - rises, ends - begins)
    )
    third = max((rises - down) // 3, 1)
    spread = abs(median(levels[down : down + third]) - median(levels[rises - third : rises]))
    if not (
        by["fastest"] <= fell_s <= by["slowest"] + slack
        and by["flat"] - slack <= flat_s <= by["longest_flat"] + slack
        and back_s <= by["return"] + slack
        and by["shortest"] - slack <= whole_s <= by["longest"] + slack
        and spread <= by["spread"]
    ):
        return None
    time = stretch.course.time
    on_arm = line.channel.site in ("", *ARM)
    return Artefact(
        "A6" if on_arm else "A5",
        time(begins),
        time(ends),
        {
            "reason": f"fell to {floor:.0f} mmHg within {fell_s:.0f} s, flat for {flat_s:.0f} s, "
            f"came back in {back_s:.0f} s",
            "level_mmhg": round(floor, 1),
            "fell_s": round(fell_s, 1),
            "flat_s": round(flat_s, 1),
            "return_s": round(back_s, 1),
            **stretch.seen(),
            "before_mmhg": round(before, 1),
        },
    )


def kink(line: LineSeconds, stretch: LostStretch) -> Artefact | None:
    """A5: movement gone and the mean drifts away; on a pulmonary artery line a wedge."""
    by = numbers_of(KINK)
    kind = line.channel.kind
    if kind == "central_venous_pressure":
        return None
    wedge = kind == "pulmonary_artery_pressure"
    if wedge and 2 * np.sqrt(2 * stretch.base) < by["wedge_pulse"]:
        return None
    start, end = stretch.start, max(stretch.end, _back_at_level(stretch))
    if not by["shortest"] <= end - start <= by["longest"]:
        return None
    # While it lasts, or has just ended, it may still turn out to be a sample or a cuff.
    if not stretch.over and end - start <= SAMPLE["longest"].value + SAMPLE["slack"].value:
        return None
    if any(one.code == "A2" and start - by["flush"] <= one.end <= start + by["flush"] for one in line.own):
        return None
    levels = stretch.levels()[stretch.first : stretch.last]
    early = levels[: int(by["within"] / STEP_S)]
    away = early - stretch.level_before
    away = away[np.isfinite(away)]
    least = by["wedge"] if wedge else by["drift"]
    if not away.size:
        return None
    kept = float(np.max(np.abs(away))) < least
    if kept and not _pulse_lost_for_long(stretch, end - start, wedge=wedge):
        return None
    settles = median(levels[-int(5 / STEP_S) :])
    what = "pulse lost, a wedge" if wedge else "pulse or ripple lost"
    reason = f"{what}: the mean went from {stretch.level_before:.0f} to {settles:.0f} mmHg"
    if kept:
        reason = (
            f"pulse lost on this line only, for {end - start:.0f} s, its level kept at {settles:.0f} mmHg"
        )
    if _flush_at_end(line, stretch.course.time(stretch.last), SAMPLE["flush"].value):
        reason += "; a flush ended it, as of a tap that stayed closed for longer than a sample"
    return Artefact(
        "A5",
        start,
        end,
        {
            "reason": reason,
            "level_mmhg": round(settles, 1),
            "drift_mmhg": round(settles - stretch.level_before, 1),
            "came_back": stretch.returned,
            **stretch.seen(),
        },
    )


def _pulse_lost_for_long(stretch: LostStretch, length_s: float, *, wedge: bool) -> bool:
    """Whether an arterial line lost a plain pulse for so long that no drift is needed to call it shut.

    A pulmonary artery pressure narrows by itself, and a ripple of a pump is too small to be missed.
    """
    by = numbers_of(KINK)
    pulse = 2 * np.sqrt(2 * stretch.base)
    plain = not wedge and not stretch.course.ripple_hz and pulse >= by["kept_pulse"]
    return bool(plain and length_s >= by["kept"])


def _back_at_level(stretch: LostStretch) -> float:
    """When the level was within a tenth of its way back; not later than a sharp edge may lie."""
    levels = stretch.levels()
    last = stretch.last
    reach = int(EDGE_REACH_S / STEP_S)
    inside = median(levels[max(last - reach, stretch.first) : last])
    after = median(levels[last + reach : last + int(AFTER_S[1] / STEP_S)])
    if not abs(after - inside) >= KINK["wedge"].value:
        return stretch.end
    back = settled(
        levels[: last + reach], last - 1, base=inside, after=after, fraction=CUFF["share"].value / 100
    )
    return stretch.course.time(back)
