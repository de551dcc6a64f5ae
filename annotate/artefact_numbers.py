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
    "together": _fixed(
        1.5, "mm[Hg]", "how far from zero each line of a source may lie where all are opened at once"
    ),
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
    "held": _fixed(30, "s", "longest plateau of a valve that is held open"),
    "brief": _fixed(0.2, "s", "shortest plateau where the release is abrupt"),
    "abrupt": _fixed(0.06, "s", "time in which no pulse falls so far"),
    "spread": _fixed(30, "mm[Hg]", "5th to 95th percentile on the plateau, above which it has beats on it"),
    "lead": _fixed(0.25, "s", "start of the plateau that may still ring, left out of that"),
    "tail": _fixed(0.1, "s", "end of the plateau left out of that"),
    "ringing_swing": _fixed(20, "mm[Hg]", "smallest swing of a plateau that rings as it dies away"),
    "ringing_half": _fixed(0.17, "s", "longest of its half cycles: under 3 Hz it may be a pulse"),
    "ringing_swings": _fixed(2, "1", "fewest of them"),
    "ringing_left": _fixed(70, "%", "of the first swing, up to which the last one has died away"),
    "joined": _fixed(0.1, "s", "longest dip that does not end the plateau"),
    "dip": _fixed(60, "mm[Hg]", "how far under the lowest plateau it may reach"),
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
    "wide": _fixed(
        25, "%", "share of changes of more than one step of the reading, under which rows are not noisy"
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
    "pad_step": _fixed(15, "%", "points that a cerebral saturation steps by, above which its pad was moved"),
    "pad_within": _fixed(5, "s", "time that such a step may take"),
    "pad_other": _fixed(5, "%", "points within which the other side stays"),
    "pad_settled": _fixed(5, "%", "points within which it has settled"),
    "probe_step": _fixed(1.5, "Cel", "step of a temperature, above which its probe was moved"),
    "probe_within": _fixed(10, "s", "time that such a step may take"),
    "probe_settled": _fixed(0.5, "Cel", "within which it has settled"),
    "sensor_before": _fixed(60, "s", "time before a step, over which levels are medians"),
    "sensor_seen": _fixed(
        30, "s", "fewest seconds of that: after fewer it cannot be told which side is the patient"
    ),
    "sensor_share": _fixed(10, "%", "of a step, within which it has not begun"),
    "sensor_back": _fixed(33, "%", "of a step, from the level before, within which a sensor is back"),
    "sensor_hold": _fixed(
        10, "s", "for how long it stays there; also the time after a step, for other channels"
    ),
    "sensor_longest": _fixed(600, "s", "longest way back; one that takes longer sits elsewhere"),
    "sensor_settle": _fixed(60, "s", "for how long it then stays where it has settled"),
    "sensor_arterial": _fixed(10, "mm[Hg]", "change of an arterial pressure that may explain a step"),
    "sensor_venous": _fixed(5, "mm[Hg]", "the same, central venous"),
    "sensor_flow": _fixed(0.5, "L/min", "the same, pump flow"),
}
CLIPPED: dict[str, Parameter] = {
    "samples": _fixed(3, "1", "fewest samples at exactly the end of the scale"),
    "shortest": _fixed(0.03, "s", "shortest time that they last"),
    "longest": _fixed(0.3, "s", "longest time on either side, within which the pressure runs into them"),
    "steep": _fixed(5, "mm[Hg]", "distance from the end of the scale that it comes from in as much time"),
    "beats": _fixed(3, "1", "fewest beats that are cut off"),
    "window": _fixed(10, "s", "longest time from one of them to the next"),
    "mean_top": _fixed(15, "%", "of the time at the highest value, from which the mean is wrong too"),
    "mean_foot": _fixed(40, "%", "the same at the lowest value: less is missing from a foot"),
    "shape": _fixed(
        65, "%", "of the time at one end, from which it is the shape of the wave and not cut off"
    ),
}
"""Beats cut off at the end of the scale (A4, or A9), this project's choice."""
NOISE: dict[str, Parameter] = {
    "power": _fixed(4, "1", "times the usual fast power of the line that is noise"),
    "least": _fixed(2.5, "mm[Hg]", "root mean square that it must reach as well"),
    "around": _fixed(600, "s", "time before and after, over which the usual level is a median"),
    "quiet": _fixed(10, "%", "quietest share of that time, which no noise is expected to fill"),
    "quiet_times": _fixed(1.6, "1", "times its roughness, that the usual level is at most"),
    "shortest": _fixed(2, "s", "fewest seconds with such power"),
    "joined": _fixed(5, "s", "longest pause that belongs to the noise"),
    "slope": _fixed(40, "mm[Hg]", "rise, and fall, in 20 ms that no pulse makes"),
    "beats": _fixed(3, "1", "fewest seconds with both"),
    "window": _fixed(10, "s", "within which they lie"),
    "slowest": _fixed(40, "Hz", "fewest samples a second at which fast power is judged"),
    "full": _fixed(100, "Hz", "fewest samples a second at which all of it is in the record"),
}
"""Electrical and movement noise (A8): 15 Hz, 4 times, 3 in 10 s and 40 mmHg are the catalogue's, all this project's."""
DAMPED: dict[str, Parameter] = {
    "pulse": _fixed(60, "%", "of the pulse before, against every other site, under which it is over-damped"),
    "slope": _fixed(50, "%", "of the upstroke before, under which it must come too"),
    "mean": _fixed(
        5, "mm[Hg]", "change of the mean against the other sites, or its own, up to which it stayed"
    ),
    "shortest": _fixed(60, "s", "shortest length"),
    "before": _fixed(60, "s", "time before, over which pulse and mean are medians"),
    "seen": _fixed(20, "s", "fewest seconds of that"),
    "least": _fixed(4, "mm[Hg]", "smallest swing of a second that is taken for a pulse"),
    "alone": _fixed(15, "mm[Hg]", "pulse before, from which a line without another beside it is judged"),
    "left": _fixed(
        15, "%", "of the pulse left, under which a pulse told as lost (A3, A5, A6) is not told again"
    ),
    "noise": _fixed(1.5, "1", "times what noise alone would swing by, that is left at least"),
    "over": _fixed(15, "mm[Hg]", "systolic overshoot, against every other site, above which a line rings"),
    "round": _fixed(
        60, "%", "of the same before, up to which a line without another beside it is over-damped"
    ),
    "swings": _fixed(
        200, "%", "growth of what is faster than 3.5 Hz and slower than 15 Hz, against the pulse's"
    ),
    "joined": _fixed(10, "s", "longest interruption"),
    "oscillations": _fixed(1, "1", "most oscillations after a flush of an over-damped line"),
    "ringing": _fixed(2, "1", "oscillations after a flush above which a line rings"),
    "rings_under": _fixed(15, "Hz", "natural frequency under which a line rings"),
}
"""Over-damped and ringing lines (A4): common practice without a source, the smaller numbers this project's choice."""
HEIGHT: dict[str, Parameter] = {
    "step": _fixed(8, "mm[Hg]", "smallest step: about 11 cm"),
    "apart": _fixed(3, "mm[Hg]", "how far a line's step may lie from the median of all"),
    "within": _fixed(5, "s", "longest time that a step may take"),
    "window": _fixed(10, "s", "time on either side, over which levels and pulses are taken"),
    "drift": _fixed(
        20,
        "s",
        "time on either side, over which a drift of a level is taken, where levels alone do not agree",
    ),
    "around": _fixed(20, "s", "longest time on either side, over which amounts are told"),
    "hidden_around": _fixed(60, "s", "the same for a line that another artefact hid while the pole moved"),
    "hidden_apart": _fixed(
        6, "mm[Hg]", "how far its amount may lie from the median: it may drift for so long"
    ),
    "pulse": _fixed(30, "%", "change of a pulse up to which it is the same"),
    "pulse_mmhg": _fixed(4, "mm[Hg]", "the same of a small pulse"),
    "lines": _fixed(3, "1", "fewest lines"),
    "kinds": _fixed(2, "1", "fewest kinds of pressure among them"),
    "interval": _fixed(2, "s", "longest interval of a line that is no wave"),
    "back": _fixed(4, "mm[Hg]", "how near to the level before the lines are back"),
    "shortest": _fixed(20, "s", "shortest shift: a cough or a strain is over by then"),
    "share": _fixed(10, "%", "of the step, within which it has not begun, or is over"),
}
"""Transducer height shift; the 5 s and 3 mm[Hg] are the catalogue's, the rest with them this project's choice."""
LONE_STEP: dict[str, Parameter] = {
    "step": _fixed(12, "mm[Hg]", "smallest step of one line alone: about 16 cm"),
    "others": _fixed(5, "mm[Hg]", "change of every other artery up to which it stayed"),
    "lasts": _fixed(120, "s", "time before and after, over which levels against the others are medians"),
    "pulse": _fixed(15, "mm[Hg]", "smallest pulse that shows the line to be open"),
}
"""One transducer that moves alone, this project's choice."""
LOST: dict[str, Parameter] = {
    "left": _fixed(15, "%", "of the power of pulse or ripple before, under which it is lost"),
    "most": _fixed(2, "mm[Hg]", "highest to lowest of what may be left"),
    "core": _fixed(5, "s", "shortest stretch without it that is looked at"),
    "joined": _fixed(1.5, "s", "longest movement that does not end the stretch"),
    "before": _fixed(40, "s", "time before, over which pulse or ripple and levels are medians"),
    "clear": _fixed(3, "s", "next to the stretch, left out of that"),
    "least": _fixed(0.8, "mm[Hg]", "smallest pulse or ripple that can be lost"),
    "others_kept": _fixed(30, "%", "of its power, which every other line keeps"),
    "others_level": _fixed(10, "mm[Hg]", "change of another line's level up to which it stayed"),
    "others_within": _fixed(30, "s", "time from the onset, over which that level is taken"),
    "others_to": _fixed(120, "s", "longest time from the onset, over which their movement is taken"),
    "pump": _fixed(15, "%", "change of pump flow or line pressure up to which it stayed"),
    "pump_flow": _fixed(0.5, "L/min", "the same of a small flow"),
    "pump_line": _fixed(20, "mm[Hg]", "the same of a small line pressure"),
    "followed": _fixed(8, "%", "fall of the cerebral saturation of that side that speaks for the patient"),
    "followed_within": _fixed(30, "s", "time after the end within which it falls"),
    "followed_to": _fixed(600, "s", "longest time from the onset that is taken for that end"),
}
"""A pulse or ripple lost on one line alone (A3, A5, A6), this project's choice."""
SAMPLE: dict[str, Parameter] = {
    "within": _fixed(2, "s", "time in which pulse or ripple is lost"),
    "shortest": _fixed(10, "s", "shortest length without it"),
    "longest": _fixed(120, "s", "longest length"),
    "slack": _fixed(3, "s", "how far either length may lie off, since its ends are no sharper"),
    "flush": _fixed(3, "s", "time to the flush, or to the opening to air before it"),
    "alone": _fixed(
        10, "mm[Hg]", "fall of the mean with it that may be the patient's where no other line tells"
    ),
}
"""Blood sample or closed tap; 2 s, 10 to 120 s and the flush are common practice without a source."""
RUN_UP: dict[str, Parameter] = {
    "rise": _fixed(40, "mm[Hg]", "smallest rise without a beat, and smallest fall when it is let go"),
    "shortest": _fixed(
        1.5, "s", "shortest time from a tenth to nine tenths of it; no beat rises for so long"
    ),
    "release": _fixed(0.08, "s", "longest time of that fall; no pulse falls so fast"),
    "swing": _fixed(6, "mm[Hg]", "turn back up to which it still rises, or stays at its top"),
    "speed": _fixed(8, "mm[Hg]", "smallest rise of a second's mean, where it is looked for"),
    "longest": _fixed(120, "s", "longest length"),
}
"""A tap closed against the flush bag (A3), this project's choice."""
KINK: dict[str, Parameter] = {
    "drift": _fixed(8, "mm[Hg]", "smallest change of the mean"),
    "within": _fixed(60, "s", "time from the onset in which it comes"),
    "shortest": _fixed(10, "s", "shortest length"),
    "longest": _fixed(7200, "s", "longest length"),
    "kept": _fixed(60, "s", "shortest length where the pulse is lost and the mean stays"),
    "kept_pulse": _fixed(10, "mm[Hg]", "smallest pulse that is then lost"),
    "falling": _fixed(80, "%", "of the power of the time before, under which a pulse is being lost"),
    "slowest": _fixed(240, "s", "longest time in which a pulse is lost"),
    "past": _fixed(60, "s", "time before, that a change against the other lines is taken from"),
    "wedge": _fixed(4, "mm[Hg]", "the same change on a pulmonary artery line"),
    "wedge_pulse": _fixed(6, "mm[Hg]", "smallest pulse that it had"),
    "flush": _fixed(5, "s", "time before the onset in which no flush may end"),
}
"""Catheter kinked, against the wall or wedged; 8 mm[Hg] in 60 s is the catalogue's (this project's choice)."""
CUFF: dict[str, Parameter] = {
    "fall": _fixed(12, "mm[Hg]", "smallest fall of the mean"),
    "fastest": _fixed(3, "s", "shortest time that it takes"),
    "slowest": _fixed(15, "s", "longest time"),
    "flat": _fixed(10, "s", "shortest flat stretch"),
    "longest_flat": _fixed(40, "s", "longest flat stretch"),
    "spread": _fixed(5, "mm[Hg]", "change from its first to its last third up to which it is flat"),
    "return": _fixed(15, "s", "longest time in which the pressure comes back"),
    "shortest": _fixed(20, "s", "shortest length of the whole"),
    "longest": _fixed(60, "s", "longest length"),
    "slack": _fixed(2, "s", "how far each of these times may lie off, since its ends are no sharper"),
    "share": _fixed(10, "%", "of the fall or return, within which it has not begun, or is over"),
    "value": _fixed(60, "s", "time after it in which a cuff value may appear"),
}
"""Cuff on the same arm; 3 to 15 s, 10 to 40 s and 20 to 60 s are common practice without a source."""
