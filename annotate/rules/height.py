"""Transducer height shifts as finds: one for all the lines of a pole."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from ..artefact_numbers import HEIGHT, LONE_STEP
from ..height_shift import MMHG_PER_CM
from ..lone_step import lone_steps
from ..view import View
from .rule import Find, Params, Rule, alternative, in_words

if TYPE_CHECKING:
    from ..quality import Artefact

PLAIN, DOUBTFUL = 0.9, 0.6  # how plain a shift is that was undone, and one that was not

DOUBTS = {
    "a fall or rise of the patient's own pressures": "central venous and pulmonary artery pressure do not move by "
    "as much as an artery, nor within seconds",
    "the table tilted": "the central venous pressure moves with it, but by another amount than the arteries",
    "coughing or straining": "it is over within seconds, and the pulse changes with it",
}

LONE = "one transducer moved"
LONE_DOUBTS = {
    "a true gradient between the sites": "it comes over minutes, and the pulse narrows with it",
    "a clamp or cannula taken off the artery above": "the pulse comes back or grows with it",
}
NEVER_UNDONE = (
    "the lines never step back, and every level after the step is masked on all of them. It may be the time before "
    "the step that is wrong: look which, then hide the one and believe the other"
)


def find_height_shift(view: View, params: Params) -> list[Find]:
    """A7: see the rule's words; the lines of one source that stepped at the same second are one find."""
    poles: dict[tuple[str, float], dict[str, Artefact]] = {}
    for name, seen in view.artefacts.items():
        for one in seen:
            if one.code == "A7":
                poles.setdefault((view.source.get(name, ""), one.start), {})[name] = one
    found = [
        _find(view, lines, A7.sentence(params)) for _, lines in sorted(poles.items(), key=lambda it: it[0][1])
    ]
    doubts = [replace(one, held_back=NEVER_UNDONE) for one in found if one.evidence["seen"].get("left_open")]
    return [*found, *doubts, *_alone(view, A7.sentence(params))]


def _alone(view: View, rule: str) -> list[Find]:
    """Steps of one artery alone: a doubt that is held back, since nothing can be masked for it."""
    names = [name for name in view.arterial if name in view.pulse]
    if len(names) < 2:
        return []
    told = []
    for one in lone_steps([view.values[name] for name in names], [view.pulse[name] for name in names]):
        name = names[one.line]
        start, end = view.start + one.begins, view.start + one.ends
        if any(
            seen.start < end and start < seen.end
            for seen in view.artefacts.get(name, ())
            if seen.code == "A7"
        ):
            continue
        words = "it was undone" if one.undone else "it was never undone"
        reason = (
            f"{name.replace('_', ' ')} alone steps by {one.amount:+.0f} mmHg against the other arteries and keeps its "
            f"pulse; {words}: a transducer that was moved or lost its zero, or an artery opened or narrowed above it, "
            "which the trace cannot tell. Nothing is masked for it: look, and hide the stretch that is wrong"
        )
        seen = {"reason": reason, "amounts_mmhg": {name: round(one.amount, 1)}}
        evidence = {
            "rule": rule,
            "crossings": [float(start), float(end)],
            "used_s": one.ends - one.begins,
            "masked_s": 0,
            "seen": seen,
            "alternatives": [alternative(what, why) for what, why in LONE_DOUBTS.items()],
        }
        told.append(
            Find("A7", LONE, float(start), float(end), (name,), "", DOUBTFUL, evidence, held_back=reason)
        )
    return told


def _find(view: View, lines: dict[str, Artefact], rule: str) -> Find:
    channels = tuple(sorted(lines))
    first = lines[channels[0]].evidence
    start, end = lines[channels[0]].start, max(one.end for one in lines.values())
    inside = view.index(start), view.index(end)
    kept = ("reason", "common_step_mmhg", "lines_apart_mmhg", "height_cm", "later_steps_mmhg", "left_open")
    seen = {key: first[key] for key in kept if first.get(key) not in (None, "", [])}
    amounts = {name: lines[name].evidence["amount_mmhg"] for name in channels}
    halves = {name: lines[name].evidence["amount_half_mmhg"] for name in channels}
    return Find(
        "A7",
        A7.name,
        float(start),
        float(end),
        channels,
        "",
        DOUBTFUL if first.get("left_open") else PLAIN,
        {
            "rule": rule,
            "crossings": [float(start), float(end)],
            "used_s": 0,
            "masked_s": max(view.masked_seconds(name, *inside) for name in channels),
            "seen": {**seen, "amounts_mmhg": amounts, "amounts_half_mmhg": halves},
            "together": f"the same step at the same second on {in_words(channels)}",
            "alternatives": [alternative(what, why) for what, why in DOUBTS.items()],
        },
    )


A7 = Rule(
    code="A7",
    name="transducer height shift",
    family="height",
    needs=("pole",),
    phase=(),
    words="All pressures of one source step by the same amount, at least {step} mmHg and each within {apart} mmHg of "
    "their median, within {within} s, and their pulses stay; at least {lines} lines of {kinds} kinds. It lasts until "
    "their steps add up to less than {back} mmHg again, {shortest} s or longer. Where they never do, it lasts to the "
    "end of the record, of a line to its next opening to air, and which side of the step is at the wrong level "
    "cannot be told: that is left open in words too. One artery alone that steps by {lone_step} mmHg while every "
    "other one stays within {lone_others}, with the same pulse of {lone_pulse} mmHg or more before and after, is held "
    "back as a doubt and not masked. Masked as a reference-level shift: mean pressures are left out, pulses still "
    "count.",
    status="P",
    source="hydrostatics: UCUM, 1 cm of water is 0.73556 mmHg; the numbers are this project's choice",
    parameters={**HEIGHT, **{f"lone_{name}": parameter for name, parameter in LONE_STEP.items()}},
    find=find_height_shift,
    version=2,
    details="The lines of one source are taken for those of one pole; of a line that is no wave, rows must be no more "
    "than {interval} s apart. Level and pulse are taken over {window} s on either side; a pulse is the same within "
    "{pulse} %, or {pulse_mmhg} mmHg. Where the lines moved one way by different amounts, what each drifts by over "
    "{drift} s on either side is taken off first: a pressure that falls all the while steps too. One artery alone "
    "must stay away over {lone_lasts} s, half of them seen on either side. Amounts are means over up to {around} s "
    "on either side, their ± the half-width of the 95 % interval by the scatter of the seconds. A line that another "
    "artefact hid while the pole moved has "
    "moved with it where its means over {hidden_around} s on either side differ by as much, within {hidden_apart} "
    "mmHg. What moves is the pole, so that all its lines share one start and one end: the quiet lines count most, the "
    "start is put back to the last second within {share} % of the step, and the end is where the way back is over to "
    "within {share} %. "
    f"The height is that of a column of water, {MMHG_PER_CM:.5f} mmHg for each centimetre. How plain it is: {PLAIN:g}, "
    f"or {DOUBTFUL:g} where the lines never stepped back.",
)
RULES = (A7,)
