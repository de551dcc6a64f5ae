"""What happens in a whole invented operation, drawn by seed: when, how deep, and what is left out.

A `Plan` is words and numbers only; `whole_course` makes the courses of it. Every length, level and chance is
this project's choice, drawn so that an event lies well inside the definition of its class. Each event is left
out with a probability of `DROPPED`; a quiet plan has none at all.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

Span = tuple[float, float]

DROPPED = 0.3
APART_S = 240.0  # between two events
TRIES = 60


@dataclass(frozen=True, slots=True)
class Happening:
    """One event.

    Attributes
    ----------
    code : str
        Class token, ``"none E01"`` and so on for a near miss; a sub-type behind a stroke (``"E27/b"``).
    start, end : float
        Seconds from the start of the record.
    depth : float
        How deep, in the unit that `whole_course` names for the class.
    """

    code: str
    start: float
    end: float
    depth: float = 1.0


@dataclass(frozen=True, slots=True)
class Plan:
    """The times of one operation in seconds, its patient, and what happens.

    Attributes
    ----------
    going_on, full_flow, cooling, warming, weaning, off, length : float
    clamp : (float, float)
    no_flow, brain_alone : tuple of (start, end)
        Circulatory arrests without any flow, and stretches in which the brain alone is perfused behind one.
    fibrillating : (float, float) or None
        From loss of ejection in the cold to the clamp.
    deep : bool
        Whether it is cooled for an arrest.
    height_cm, weight_kg : float
    arterial, pulse, venous, pulmonary, rate : float
        Levels before bypass.
    bypass_pressure, flow_index : float
    right_inflow : bool
        Whether the right axillary artery is the inflow, so that the right radial line over-reads.
    protamine : float
    chest : (float, float)
        Opened, closed.
    events : tuple of Happening
    """

    seed: int
    going_on: float
    full_flow: float
    cooling: float
    warming: float
    weaning: float
    off: float
    length: float
    clamp: Span
    no_flow: tuple[Span, ...]
    brain_alone: tuple[Span, ...]
    fibrillating: Span | None
    deep: bool
    height_cm: float
    weight_kg: float
    arterial: float
    pulse: float
    venous: float
    pulmonary: float
    rate: float
    bypass_pressure: float
    flow_index: float
    right_inflow: bool
    protamine: float
    chest: Span
    events: tuple[Happening, ...] = field(default=())

    @property
    def body_surface(self) -> float:
        """Du Bois, m²."""
        return float(0.007184 * self.height_cm**0.725 * self.weight_kg**0.425)

    @property
    def arrested(self) -> tuple[Span, ...]:
        """Stretches without flow to the lower body."""
        return (*self.no_flow, *self.brain_alone)

    def of(self, code: str) -> list[Happening]:
        """The events of one class, whatever their sub-type."""
        return [one for one in self.events if one.code.split("/")[0] == code]


class _Placing:
    """Free places for events, drawn one after another."""

    def __init__(self, rng: np.random.Generator, quiet: bool) -> None:
        self.rng, self.quiet = rng, quiet
        self.taken: list[Span] = []
        self.events: list[Happening] = []

    def block(self, *spans: Span) -> None:
        self.taken += spans

    def wanted(self, chance: float = 1 - DROPPED) -> bool:
        return bool(self.rng.random() < chance) and not self.quiet

    def draw(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def put(self, code: str, within: Span, lengths: Span, depth: float, after: float = 60.0) -> None:
        """An event in a free place, so long as there is one; `after` is how long it takes to be over."""
        length = float(np.round(self.draw(*lengths)))
        for _ in range(TRIES):
            last = within[1] - length - after
            if last <= within[0]:
                return
            start = float(np.round(self.draw(within[0], last)))
            apart = APART_S
            if all(start + length + after + apart <= a or start >= b + apart for a, b in self.taken):
                self.taken.append((start, start + length + after))
                self.events.append(Happening(code, start, start + length, depth))
                return

    def at(self, code: str, start: float, end: float, depth: float, after: float = 60.0) -> None:
        """An event where it belongs."""
        self.taken.append((start, end + after))
        self.events.append(Happening(code, start, end, depth))


def plan(seed: int, *, quiet: bool = False) -> Plan:
    """The plan of one seed; the same for the same seed.

    Parameters
    ----------
    seed : int
    quiet : bool
        Nothing but the operation itself: no event of any kind that its phases do not bring with them.
    """
    rng = np.random.default_rng([seed, 70])
    place = _Placing(rng, quiet)
    deep = bool(rng.random() < 0.5)
    going_on = place.draw(1500, 2400)
    full_flow = going_on + place.draw(100, 180)
    cooling = full_flow + place.draw(60, 200)
    times = _arrests(cooling, deep, place)
    warming = times.warming
    weaning = warming + (place.draw(4800, 6000) if deep else place.draw(2000, 2800))
    off = weaning + place.draw(240, 480)
    length = off + place.draw(1900, 2600)
    protamine = off + place.draw(400, 700)
    whole = Plan(
        seed, round(going_on), round(full_flow), round(cooling), round(warming), round(weaning), round(off),
        round(length),         clamp=times.clamp, no_flow=times.no_flow, brain_alone=times.brain_alone,
        fibrillating=times.fibrillating, deep=deep,
        height_cm=float(np.round(place.draw(152, 190))), weight_kg=float(np.round(place.draw(52, 105))),
        arterial=place.draw(72, 86), pulse=place.draw(42, 60), venous=place.draw(7, 11),
        pulmonary=place.draw(17, 24), rate=place.draw(55, 95), bypass_pressure=place.draw(57, 68),
        flow_index=place.draw(2.35, 2.6), right_inflow=bool(rng.random() < 0.4),
        protamine=float(np.round(protamine)), chest=(float(np.round(going_on - 700)), float(np.round(length - 300))),
    )  # fmt: skip
    _before(whole, place)
    _on_bypass(whole, place)
    _after(whole, place)
    events = tuple(sorted(place.events, key=lambda one: one.start))
    return replace(whole, events=events)


@dataclass(frozen=True, slots=True)
class _Times:
    clamp: Span
    no_flow: tuple[Span, ...]
    brain_alone: tuple[Span, ...]
    fibrillating: Span | None
    warming: float


def _arrests(cooling: float, deep: bool, place: _Placing) -> _Times:
    if not deep:
        clamp = float(np.round(cooling + place.draw(300, 600)))
        release = float(np.round(clamp + place.draw(2400, 3600)))
        return _Times((clamp, release), (), (), None, float(np.round(release - place.draw(300, 900))))
    first = float(np.round(cooling + place.draw(3000, 3900)))
    clamp = first - float(np.round(place.draw(150, 400)))
    fibrillates = (
        (clamp - float(np.round(place.draw(700, 1500))), clamp) if place.rng.random() < 0.7 else None
    )
    no_flow = [(first, first + float(np.round(place.draw(600, 1150))))]
    brain: list[Span] = []
    again = float(place.rng.random())
    if again < 0.5:  # a second one, behind flow
        start = no_flow[-1][1] + float(np.round(place.draw(600, 900)))
        no_flow.append((start, start + float(np.round(place.draw(500, 1200)))))
    if again < 0.25 or again > 0.75:  # brain perfusion behind the last
        start = no_flow[-1][1]
        brain.append((start, start + float(np.round(place.draw(420, 900)))))
    end = max(no_flow[-1][1], brain[-1][1] if brain else 0.0)
    release = float(np.round(end + place.draw(500, 900)))
    warming = float(np.round(end + place.draw(240, 420)))
    return _Times((clamp, release), tuple(no_flow), tuple(brain), fibrillates, warming)


def _before(whole: Plan, place: _Placing) -> None:
    early = (420.0, whole.going_on - 240)
    if place.wanted():
        place.put("E04", early, (45, 80), place.draw(18, 26), 60)
    if place.wanted():
        place.put("E01", early, (90, 240), place.draw(49, 58), 60)
    if place.wanted(0.3):
        place.put("none E01", early, (30, 42), 61.0, 30)


def _on_bypass(whole: Plan, place: _Placing) -> None:
    for start, end in whole.arrested:
        place.block((start - 240, end + 420))
    clamp_on, clamp_off = whole.clamp
    place.block((clamp_on - 90, clamp_on + 120), (clamp_off - 90, clamp_off + 120))
    steady = (whole.full_flow + 300, whole.weaning - 240)
    if whole.fibrillating is not None and place.wanted():
        place.put(
            "E25", (whole.fibrillating[0] + 60, whole.fibrillating[1]), (150, 240), place.draw(13, 18), 60
        )
    back = clamp_off + 120
    kind = float(place.rng.random())
    if not place.quiet and kind < 0.45:
        place.at("E24/fibrillating", back, back + float(np.round(place.draw(80, 260))), 1.0)
    elif not place.quiet and kind < 0.75:
        place.at("E24/irregular", back, back + float(np.round(place.draw(60, 180))), 1.0)
    if place.wanted(0.15):
        place.at("E21", whole.going_on + 30, whole.going_on + 30 + float(np.round(place.draw(100, 150))), 1.0)
    for code, lengths, depth, after in (
        ("E07", (60, 180), place.draw(320, 370), 60),
        ("E08", (70, 130), place.draw(0.35, 0.6), 90),
        ("E09", (120, 240), place.draw(14, 21), 60),
        ("E10", (8, 60), 1.0, 60),
        ("E13", (100, 420), place.draw(37, 45), 60),
        ("E13/hyper", (400, 560), place.draw(86, 98), 60),
        ("E19/left", (150, 300), place.draw(0.66, 0.76), 60),
    ):
        if place.wanted():
            place.put(code, steady, lengths, depth, after)
    cold = (whole.cooling + 120, whole.cooling + 1500)
    warm = (whole.warming + 300, whole.weaning - 300)
    late = (whole.weaning - 1700, whole.weaning - 240)
    for code, within, lengths, depth in (
        ("E14a", cold, (200, 420), place.draw(11, 13)),
        ("E14b", warm, (200, 420), place.draw(11, 13)),
        ("E14c", warm, (240, 500), place.draw(5.2, 7.0)),
        ("E15", warm, (420, 560), place.draw(0.62, 0.8)),
        ("E16", late, (120, 300), place.draw(37.3, 38.0)),
        ("E12", late, (420, 800), place.draw(0.72, 0.8)),
    ):
        if place.wanted():
            place.put(code, within, lengths, depth, 60)
    if place.wanted(0.4):
        place.put("none E11", late, (40, 55), 0.7, 30)


def _after(whole: Plan, place: _Placing) -> None:
    place.block((whole.off - 60, whole.off + 200))
    late = (whole.off + 220, whole.length - 200)
    if place.wanted(0.5):
        end = min(
            whole.off + place.draw(600, 1500),
            whole.protamine - 120 if place.rng.random() < 0.3 else whole.length - 400,
        )
        if end - whole.off > 500:
            place.events.append(
                Happening("E22a", whole.off - 150, float(np.round(end)), place.draw(12.5, 17))
            )
    if place.wanted(0.6):
        start = float(np.round(whole.protamine + place.draw(60, 180)))
        kind = "E27/b" if place.rng.random() < 0.5 else "E27/a"
        place.at(kind, start, start + float(np.round(place.draw(180, 280))), place.draw(18, 26), 120)
    for code, lengths, depth, chance in (
        ("E29", (130, 240), 1.0, 0.7),
        ("E30", (180, 320), place.draw(0.17, 0.22), 0.7),
        ("E01", (90, 300), place.draw(49, 58), 0.6),
        ("E02", (40, 80), place.draw(26, 34), 0.35),
        ("none E01", (30, 42), 61.0, 0.3),
    ):
        if place.wanted(chance):
            place.put(code, late, lengths, depth, 60)
