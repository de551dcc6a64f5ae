"""Classes that a person can give a mark, beside those that a rule looks for.

The catalogue of rules grows towards these; until a pattern has its rule, it can be marked by hand under
the code that the rule will have.
"""

from __future__ import annotations

WITHOUT_A_RULE: dict[str, str] = {
    "A3": "blood sample or tap closed",
    "A4": "over-damped or ringing line",
    "A5": "catheter kink, wall contact or wedge",
    "A6": "cuff on the same arm",
    "A7": "transducer height shift",
    "A8": "electrical or movement noise",
    "E04": "handling dip with early beats",
    "E06": "loss of ejection on bypass",
    "E07": "high arterial line pressure",
    "E08": "venous air lock or drainage loss",
    "E09": "upper-body drainage obstruction",
    "E11": "low flow index",
    "E12": "low oxygen delivery",
    "E14": "temperature gradient",
    "E15": "fast rewarming",
    "E19": "cerebral desaturation",
    "E20": "cerebral side difference",
    "E21": "malperfusion pattern",
    "E22": "site gradient",
    "E23": "clamp on or off",
    "E24": "rhythm after reperfusion",
    "E25": "ventricular distension",
    "E26": "return of ejection, weaning, off",
    "E27": "protamine reaction",
    "E28": "pulmonary hypertensive crisis",
    "E29": "pressure alternans",
    "E30": "high pulse pressure variation",
    "E31": "tamponade pattern",
    "U1": "unexplained change",
    "U2": "intervention seen on the trace",
    "N0": "looked, and found nothing",
}


def class_names(by_rule: dict[str, str]) -> dict[str, str]:
    """All classes by code, artefacts first, then events, then the rest; a rule's own name goes before ours."""
    named = WITHOUT_A_RULE | by_rule
    return {code: named[code] for code in sorted(named, key=lambda code: ("AEUN".index(code[0]), code))}
