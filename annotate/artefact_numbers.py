"""The numbers that artefacts are looked for by, each in one place: code and words both read them here.

All are this project's choice but those of a flush's rise, plateau and length, which are common practice
without a source.
"""

from __future__ import annotations

from .parameter import Parameter


def _fixed(value: float, unit: str, meaning: str) -> Parameter:
    return Parameter(value, unit, meaning, fixed=True)


OPEN_TO_AIR: dict[str, Parameter] = {
    "level": _fixed(3, "mm[Hg]", "how far from zero the still pressure may lie"),
    "sd": _fixed(1, "mm[Hg]", "standard deviation that it stays under"),
    "shortest": _fixed(3, "s", "shortest length"),
    "longest": _fixed(60, "s", "longest length; longer is a sensor off (A9)"),
    "within": _fixed(2, "s", "time that falling and coming back may take"),
    "step": _fixed(10, "mm[Hg]", "smallest change at either end, arterial"),
    "step_venous": _fixed(4, "mm[Hg]", "the same, central venous"),
    "step_pulmonary": _fixed(8, "mm[Hg]", "the same, pulmonary artery"),
    "near": _fixed(15, "mm[Hg]", "how far off zero an arterial line may lie still before the zero key"),
    "near_spread": _fixed(3, "mm[Hg]", "within which that level stays"),
    "near_shortest": _fixed(0.5, "s", "shortest length of that level"),
    "near_gap": _fixed(0.3, "s", "longest change between that level and zero"),
    "others_fall": _fixed(40, "%", "loss at another arterial site that counts as a fall"),
    "others_from": _fixed(20, "mm[Hg]", "lowest level that can be lost"),
    "others_before": _fixed(5, "s", "time before, over which another site's level is taken"),
    "block": _fixed(0.1, "s", "steps in which the wave is read"),
    "swing": _fixed(6, "1", "spread within a step, in standard deviations, up to which it is still"),
    "joined": _fixed(0.2, "s", "longest disturbance that does not end the stillness"),
    "margin": _fixed(0.3, "s", "left out at each end when level and standard deviation are taken"),
    "trusted": _fixed(2, "1", "samples farther from zero than so many levels are left out of both"),
    "around": _fixed(1, "s", "length over which the levels before and after are taken"),
    "share": _fixed(10, "%", "of the whole change, within which the fall has not begun"),
    "edge": _fixed(10, "%", "percentile of a pulse that is its lower edge"),
}
FLUSH: dict[str, Parameter] = {
    "rise": _fixed(100, "mm[Hg]", "smallest rise, and smallest fall at the release"),
    "within": _fixed(0.3, "s", "time that either may take"),
    "level": _fixed(180, "mm[Hg]", "lowest plateau"),
    "shortest": _fixed(0.5, "s", "shortest plateau"),
    "longest": _fixed(10, "s", "longest plateau"),
    "brief": _fixed(0.2, "s", "shortest plateau where the release is abrupt"),
    "abrupt": _fixed(0.06, "s", "time in which no pulse falls so far"),
    "spread": _fixed(30, "mm[Hg]", "5th to 95th percentile on the plateau, above which it has beats on it"),
    "lead": _fixed(0.25, "s", "start of the plateau that may still ring, left out of that"),
    "tail": _fixed(0.1, "s", "end of the plateau left out of that"),
    "joined": _fixed(0.1, "s", "longest dip that does not end the plateau"),
    "share": _fixed(10, "%", "of the rise, within which it has not begun"),
    "clip": _fixed(0.1, "s", "shortest stretch at exactly the top that is called clipped"),
    "ring": _fixed(1, "s", "time after the release that is masked with it: ring, not pulse"),
    "still_swing": _fixed(6, "mm[Hg]", "pulse under which a second before it is still"),
    "still_from": _fixed(2, "s", "shortest stillness before it that is told"),
    "still_to": _fixed(120, "s", "longest; longer was no closed tap"),
}
RAMP: dict[str, Parameter] = {
    "swing": _fixed(6, "mm[Hg]", "turn back up to which a pressure still goes one way: a beat turns by more"),
    "rise": _fixed(10, "mm[Hg]", "smallest rise of a ramp"),
    "shortest": _fixed(0.5, "s", "shortest ramp; no beat rises for so long"),
    "still": _fixed(2, "s", "shortest stretch without a beat that need not rise"),
    "longest": _fixed(3, "s", "longest of either; longer is a pressure without a pulse"),
    "edge": _fixed(0.3, "s", "time that the fall to an opening may take, passed over on the way to its ramp"),
}
"""What leads into or out of an opening to air or a flush (this project's choice)."""
UNUSABLE: dict[str, Parameter] = {
    "minimum": Parameter(2, "s", "shortest stretch that is told"),
    "stagnant": Parameter(0.3, "L/min", "flow under which a venous saturation may be blank"),
    "together": Parameter(3, "s", "how far apart the ends on channels of one source may lie"),
    "gap": _fixed(1, "s", "longest gap of a wave that is passed over"),
    "intervals": _fixed(2, "1", "longest gap that is passed over, in intervals of the channel"),
    "frozen": _fixed(1, "s", "shortest repetition of one value on a wave of pressure"),
    "frozen_coarse": _fixed(5, "s", "the same where the steps of the converter are coarse"),
    "frozen_other": _fixed(10, "s", "the same on any other wave"),
    "coarse": _fixed(0.5, "1", "step of the converter, in the channel's unit, from which it is coarse"),
    "restless": _fixed(80, "%", "share of repeats above which a wave is not judged"),
    "rows": _fixed(10, "1", "shortest run of equal rows"),
    "reversals": _fixed(30, "%", "share of changes that turn back, under which rows are not noisy"),
    "neighbours": _fixed(60, "1", "rows on either side that a run is judged by"),
    "repeats": _fixed(50, "%", "share of repeats among them from which equal rows say nothing"),
    "noisy": _fixed(
        30, "%", "share of them, repeating or of the very value, up to which the shortest run is told"
    ),
    "low": _fixed(2, "s", "shortest run at the lowest value, wave of pressure"),
    "low_other": _fixed(10, "s", "the same on any other wave"),
    "high": _fixed(10, "s", "shortest run at the highest value: a clipped flush stays there for less"),
    "levels": _fixed(3, "1", "most levels of a pattern in one second"),
    "apart": _fixed(20, "mm[Hg]", "distance of its levels"),
    "crossings": _fixed(5, "1", "fewest changes between them in one second"),
    "pattern": _fixed(2, "s", "shortest pattern, and longest break in it"),
    "explained": _fixed(
        0.5, "s", "how far a stretch may reach beyond an opening or a flush that explains it"
    ),
    "flowing": _fixed(0.3, "L/min", "pump flow at which venous blood flows"),
    "flowing_share": _fixed(50, "%", "of a gap of a venous saturation in which blood must have flowed"),
}
