"""The case sheet: what no recorder knows (body size, inflow, plan, gases), from ``case-sheet.toml``.

Every fact may be absent: what needs it then says "not computed", and nothing is filled in. Times are
minutes and seconds (``"53:00"``, ``"340:00"``) or hours, minutes and seconds (``"5:40:00"``) from the first
sample of the reference source. The ranges are engineering guards against slips of the pen, without a source.

Example
-------
::

    [patient]
    height_cm = 168
    weight_kg = 74
    sex = "female"
    age_band = "50-59"

    [inflow]
    site = "axillary"
    side = "right"

    [plan]
    flow_index = 2.4              # L/min/m2
    rewarming_target_c = 36.5

    [chest]
    opened = "53:00"
    closed = "340:00"

    [ventilation]
    tidal_volume_ml_per_kg = 8

    [oxygen]                      # on bypass
    arterial_saturation = 1.0     # fraction
    arterial_oxygen_mmhg = 220

    [oximetry]
    baseline_start = "2:00"
    baseline_end = "4:00"

    [[haemoglobin]]
    time = "0:00"
    g_per_dl = 13.6

    [anticoagulation]             # a target needs its source; there is none by default
    target_s = 480
    target_source = "our unit"

    [[heparin]]
    time = "47:00"
    units = 28000

    [[clotting_time]]             # activated clotting time: the draw counts, not the result
    drawn = "50:00"
    result = "55:30"
    seconds = 486

    [[protamine]]
    time = "316:00"
    mg = 250

    [[cardioplegia]]
    start = "128:30"
    end = "132:30"
    route = "root"
    volume_ml = 1000
    temperature_c = 4
    pressure_mmhg = 80

The longest interval between doses that the unit has set itself is ``cardioplegia_interval_min`` of ``[plan]``.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from .typed_toml import Table, load

_TIME = re.compile(r"(?:(?P<h>\d{1,2}):(?P<m>[0-5]\d)|(?P<minutes>\d{1,4})):(?P<s>[0-5]\d(?:\.\d{1,3})?)")


def seconds_from_start(text: str) -> float:
    """Seconds of ``"MMM:SS"`` or ``"H:MM:SS"``; ValueError for anything else.

    Examples
    --------
    >>> seconds_from_start("340:00"), seconds_from_start("5:40:00")
    (20400.0, 20400.0)
    """
    match = _TIME.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"found {text!r}")
    if match["minutes"] is not None:
        return 60.0 * int(match["minutes"]) + float(match["s"])
    return 3600.0 * int(match["h"]) + 60.0 * int(match["m"]) + float(match["s"])


def _time_of(value: Any) -> Any:
    if not isinstance(value, str):
        raise ValueError(f"found {value!r}")
    return seconds_from_start(value)


_Seconds: TypeAlias = Annotated[float, BeforeValidator(_time_of)]
_TIME_EXPECTED = 'a time from the start of the record in quotes, "MMM:SS" or "H:MM:SS"'


class Patient(Table):
    """Body size, sex and age band."""

    height_cm: float | None = Field(default=None, ge=20, le=250, description="a height from 20 to 250 cm")
    weight_kg: float | None = Field(default=None, ge=0.3, le=350, description="a weight from 0.3 to 350 kg")
    sex: Literal["female", "male"] | None = Field(default=None, description='"female" or "male"')
    age_band: str | None = Field(
        default=None,
        pattern=r"^(\d{1,3}-\d{1,3}|\d{1,3}\+)$",
        description='an age band in years such as "50-59" or "90+", never a date of birth',
    )


class Inflow(Table):
    """Where the blood of the heart-lung machine enters."""

    site: Literal["radial", "femoral", "axillary", "brachial", "aortic", "carotid"] | None = Field(
        default=None, description='one of "aortic", "axillary", "femoral", "carotid", "brachial", "radial"'
    )
    side: Literal["left", "right"] | None = Field(default=None, description='"left" or "right"')


class Plan(Table):
    """What the team had set itself."""

    flow_index: float | None = Field(
        default=None, ge=0.5, le=5, description="a flow index from 0.5 to 5 L/min/m2"
    )
    rewarming_target_c: float | None = Field(
        default=None, ge=30, le=40, description="a temperature from 30 to 40 degrees C"
    )
    cardioplegia_interval_min: float | None = Field(
        default=None, ge=1, le=300, description="the unit's own longest interval, from 1 to 300 min"
    )


class Chest(Table):
    """When the chest was opened and closed."""

    opened: _Seconds | None = Field(default=None, description=_TIME_EXPECTED)
    closed: _Seconds | None = Field(default=None, description=_TIME_EXPECTED)

    @model_validator(mode="after")
    def _in_order(self) -> Chest:
        if self.opened is not None and self.closed is not None and self.closed <= self.opened:
            raise ValueError("the chest is closed before it is opened; expected 'closed' after 'opened'")
        return self


class Ventilation(Table):
    """How the lungs were ventilated off bypass."""

    tidal_volume_ml_per_kg: float | None = Field(
        default=None, ge=1, le=20, description="a tidal volume from 1 to 20 mL per kg of body weight"
    )


class Oxygen(Table):
    """Arterial blood on bypass, where no channel has it."""

    arterial_saturation: float | None = Field(
        default=None, ge=0.3, le=1, description="a saturation as a fraction from 0.3 to 1 (0.98, not 98)"
    )
    arterial_oxygen_mmhg: float | None = Field(
        default=None, ge=10, le=800, description="an oxygen tension from 10 to 800 mmHg"
    )


class Oximetry(Table):
    """The stretch that cerebral saturations are compared with."""

    baseline_start: _Seconds | None = Field(default=None, description=_TIME_EXPECTED)
    baseline_end: _Seconds | None = Field(default=None, description=_TIME_EXPECTED)

    @model_validator(mode="after")
    def _in_order(self) -> Oximetry:
        start, end = self.baseline_start, self.baseline_end
        if (start is None) != (end is None):
            raise ValueError("a baseline needs both 'baseline_start' and 'baseline_end'")
        if start is not None and end is not None and end <= start:
            raise ValueError(
                "the baseline ends before it starts; expected 'baseline_end' after 'baseline_start'"
            )
        return self


class HaemoglobinRow(Table):
    """One laboratory value."""

    time: _Seconds = Field(description=_TIME_EXPECTED)
    g_per_dl: float = Field(ge=3, le=25, description="a haemoglobin from 3 to 25 g/dL")


class Anticoagulation(Table):
    """The target of the activated clotting time that was in force."""

    target_s: float | None = Field(default=None, ge=100, le=1000, description="a time from 100 to 1000 s")
    target_source: str | None = Field(
        default=None, min_length=1, description="whose target it is, in quotes: a citation, or the unit"
    )

    @model_validator(mode="after")
    def _has_a_source(self) -> Anticoagulation:
        if self.target_s is not None and not (self.target_source or "").strip():
            raise ValueError("a target needs its source; expected 'target_source' beside 'target_s'")
        return self


class HeparinRow(Table):
    """One dose of heparin."""

    time: _Seconds = Field(description=_TIME_EXPECTED)
    units: float | None = Field(default=None, gt=0, le=200_000, description="units, up to 200000")


class ClottingTimeRow(Table):
    """One activated clotting time."""

    drawn: _Seconds = Field(description=_TIME_EXPECTED)
    result: _Seconds | None = Field(default=None, description=_TIME_EXPECTED)
    seconds: float = Field(ge=40, le=2000, description="a clotting time from 40 to 2000 s")

    @model_validator(mode="after")
    def _in_order(self) -> ClottingTimeRow:
        if self.result is not None and self.result < self.drawn:
            raise ValueError("the result is there before the blood is drawn; expected 'result' after 'drawn'")
        return self


class ProtamineRow(Table):
    """One dose of protamine."""

    time: _Seconds = Field(description=_TIME_EXPECTED)
    mg: float | None = Field(default=None, gt=0, le=2000, description="mg, up to 2000")


class CardioplegiaRow(Table):
    """One dose of cardioplegia."""

    start: _Seconds = Field(description=_TIME_EXPECTED)
    end: _Seconds = Field(description=_TIME_EXPECTED)
    route: Literal["root", "ostial", "retrograde", "graft"] | None = Field(
        default=None, description='one of "root", "ostial", "retrograde", "graft"'
    )
    volume_ml: float | None = Field(default=None, gt=0, le=5000, description="a volume up to 5000 mL")
    temperature_c: float | None = Field(
        default=None, ge=0, le=40, description="a temperature from 0 to 40 degrees C"
    )
    pressure_mmhg: float | None = Field(
        default=None, ge=0, le=400, description="a delivery pressure from 0 to 400 mmHg"
    )

    @model_validator(mode="after")
    def _in_order(self) -> CardioplegiaRow:
        if self.end < self.start:
            raise ValueError("the dose ends before it starts; expected 'end' after 'start'")
        return self


class CaseSheet(Table):
    """Facts that no recording carries; what is absent is None.

    Attributes
    ----------
    patient : Patient
        ``height_cm``, ``weight_kg``, ``sex``, ``age_band``.
    ventilation : Ventilation
        ``tidal_volume_ml_per_kg``.
    """

    patient: Patient = Field(Patient(), description="a table [patient]")
    inflow: Inflow = Field(Inflow(), description="a table [inflow]")
    plan: Plan = Field(Plan(), description="a table [plan]")
    chest: Chest = Field(Chest(), description="a table [chest]")
    ventilation: Ventilation = Field(Ventilation(), description="a table [ventilation]")
    oxygen: Oxygen = Field(Oxygen(), description="a table [oxygen]")
    oximetry: Oximetry = Field(Oximetry(), description="a table [oximetry]")
    haemoglobin: tuple[HaemoglobinRow, ...] = Field((), strict=False, description="tables [[haemoglobin]]")
    anticoagulation: Anticoagulation = Field(Anticoagulation(), description="a table [anticoagulation]")
    heparin: tuple[HeparinRow, ...] = Field((), strict=False, description="tables [[heparin]]")
    clotting_time: tuple[ClottingTimeRow, ...] = Field(
        (), strict=False, description="tables [[clotting_time]]"
    )
    protamine: tuple[ProtamineRow, ...] = Field((), strict=False, description="tables [[protamine]]")
    cardioplegia: tuple[CardioplegiaRow, ...] = Field((), strict=False, description="tables [[cardioplegia]]")

    @property
    def inflow_site(self) -> str | None:
        """Site of the arterial cannula."""
        return self.inflow.site

    @property
    def inflow_side(self) -> str | None:
        """Side of the arterial cannula."""
        return self.inflow.side

    @property
    def planned_flow_index(self) -> float | None:
        """Planned pump flow index, L/min/m2."""
        return self.plan.flow_index

    @property
    def rewarming_target_c(self) -> float | None:
        """Nasopharyngeal temperature to which the patient was to be rewarmed, degrees C."""
        return self.plan.rewarming_target_c

    @property
    def chest_opened_s(self) -> float | None:
        """Reference second at which the chest was opened."""
        return self.chest.opened

    @property
    def chest_closed_s(self) -> float | None:
        """Reference second at which the chest was closed."""
        return self.chest.closed

    @property
    def arterial_saturation(self) -> float | None:
        """Arterial oxygen saturation on bypass, fraction."""
        return self.oxygen.arterial_saturation

    @property
    def arterial_oxygen_mmhg(self) -> float | None:
        """Arterial oxygen tension on bypass, mmHg."""
        return self.oxygen.arterial_oxygen_mmhg

    @property
    def baseline_window(self) -> tuple[float, float] | None:
        """Start and end of the oximetry baseline, reference seconds."""
        start, end = self.oximetry.baseline_start, self.oximetry.baseline_end
        return None if start is None or end is None else (start, end)

    @property
    def haemoglobin_rows(self) -> tuple[tuple[float, float], ...]:
        """(reference second, g/dL) of each laboratory value, in order of time."""
        return tuple(sorted((row.time, row.g_per_dl) for row in self.haemoglobin))


def load_case_sheet(path: Path) -> CaseSheet:
    """Read ``case-sheet.toml``; see the module's example.

    Raises
    ------
    FileUnreadable
        Names the file, the key, what was found and what is expected.
    """
    return load(path, CaseSheet, "case sheet")
