"""Arithmetic "what if" of a case: time and area below its limits of oxygen delivery with another flow or haemoglobin.

Only the oxygen delivery index is computed again. How pressure, saturations or temperatures would have answered is not
known to arithmetic, and no patient's response is modelled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .derived import Absent, Derived, Measured
from .figure_bench import known_with
from .figure_row import exposed
from .figures import WARM_OUTLET_C
from .limit_measures import LIMIT_MEASURES
from .limits import Limit, LimitSet, in_force, oxygen_constants
from .measures.exposure import Exposure
from .measures.intervals import Interval, subtract_intervals
from .measures.oxygen import OxygenConstants
from .measures.what_if import WHAT_IF_BANNER, oxygen_delivery_what_if
from .series import OBSERVED, Series
from .windows import Windows, seconds_at, within

if TYPE_CHECKING:
    from afterclamp.io.case import Case

__all__ = ["WHAT_IF_BANNER", "Basis", "Replaced", "Row", "basis_of", "replaced"]


@dataclass(frozen=True)
class Basis:
    """What a "what if" of a case rests on, read once.

    Attributes
    ----------
    flow_index, haemoglobin : Series
        As recorded, L/min/m² and g/dL, on the same seconds.
    arterial_saturation, arterial_oxygen_tension : float
        Of the case sheet: fraction and mmHg.
    surface_m2 : float
        Body surface (Du Bois), by which a flow in L/min becomes an index.
    constants : OxygenConstants
        Of oxygen content.
    where : tuple of (start, end)
        Reference seconds in which a value is replaced: established bypass without arrests.
    limits : tuple of (Limit, window, exclude)
        Limits of the oxygen delivery index in force, and where each is looked at.
    outlet : Series or Absent
        Arterial outlet temperature; where it is not known a second is not judged.
    """

    flow_index: Series
    haemoglobin: Series
    arterial_saturation: float
    arterial_oxygen_tension: float
    surface_m2: float
    constants: OxygenConstants
    where: tuple[Interval, ...]
    limits: tuple[tuple[Limit, tuple[Interval, ...], tuple[Interval, ...]], ...]
    outlet: Measured

    @property
    def where_s(self) -> float:
        """Seconds in which a value is replaced."""
        return sum(end - start for start, end in self.where)

    @property
    def recorded_flow_l_min(self) -> float:
        """Median of the recorded flow in those seconds, L/min; NaN where none was recorded."""
        return _median(self.flow_index, self.where) * self.surface_m2

    @property
    def recorded_haemoglobin_g_dl(self) -> float:
        """Median of the recorded haemoglobin in those seconds, g/dL; NaN where none was recorded."""
        return _median(self.haemoglobin, self.where)


@dataclass(frozen=True)
class Row:
    """One limit as recorded and with the value replaced; both over the same seconds."""

    limit: Limit
    recorded: Exposure
    changed: Exposure


@dataclass(frozen=True)
class Replaced:
    """Oxygen delivery with flow or haemoglobin replaced.

    Attributes
    ----------
    words : str
        What was replaced by what.
    rows : tuple of Row
        One a limit; none where no limit of the oxygen delivery index is in force.
    where_s : float
        Seconds in which it was replaced.
    banner : str
        Stands on every view, copy and export of it.
    """

    words: str
    rows: tuple[Row, ...]
    where_s: float
    banner: str = WHAT_IF_BANNER


def basis_of(case: Case, limits: LimitSet | Sequence[LimitSet] | None = None) -> Basis | Absent:
    """What a "what if" of a case rests on, or why there is none.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time.
    limits : LimitSet or sequence of LimitSet, optional
        The sets to go by; those in force for the case if not given.
    """
    sets = in_force(case, limits)
    constants = oxygen_constants(case, sets)
    derived = Derived(case, constants=constants)
    delivery = derived.oxygen_delivery_index
    if isinstance(delivery, Absent):
        return delivery
    index, haemoglobin, surface = derived.pump_flow_index, derived.haemoglobin, derived.body_surface_area
    saturation, tension = case.sheet.arterial_saturation, case.sheet.arterial_oxygen_mmhg
    assert isinstance(index, Series)
    assert isinstance(haemoglobin, Series)
    assert surface is not None
    assert saturation is not None
    assert tension is not None
    windows = Windows(case, derived)
    [(_, established)] = windows.of("established")
    if isinstance(established, Absent):
        return established
    cold = seconds_at(derived.outlet_temperature, "below", WARM_OUTLET_C)
    looked_at = []
    for limit in (one for a_set in sets for one in a_set):
        if limit.measure != "oxygen_delivery_index" or not limit.figure:
            continue
        for _, window in windows.of(limit.phase):
            if not isinstance(window, Absent) and (inside := within(window, windows.bypass)):
                looked_at.append((limit, tuple(inside), tuple(windows.arrests + cold)))
    return Basis(
        index, haemoglobin, saturation, tension, surface, constants,
        tuple(subtract_intervals(established, windows.arrests)), tuple(looked_at), derived.outlet_temperature,
    )  # fmt: skip


def replaced(
    basis: Basis, *, flow_l_min: float | None = None, haemoglobin_g_dl: float | None = None
) -> Replaced:
    """Time and area below each limit of the oxygen delivery index, as recorded and with a value replaced.

    Parameters
    ----------
    basis : Basis
    flow_l_min, haemoglobin_g_dl : float, optional
        L/min and g/dL; at least one of the two.

    Returns
    -------
    Replaced
        A second that was masked or not recorded stays so: nothing is made up. Outside of established bypass, and in
        the arrests, nothing is replaced.

    Raises
    ------
    ValueError
        If nothing is replaced, or a number cannot be a flow or a haemoglobin.

    References
    ----------
    Index x content x 10, PMC7792239; see `measures.oxygen.oxygen_delivery_index`.
    """
    said = []
    for value, name, words in (
        (flow_l_min, "pump_flow", "pump flow"),
        (haemoglobin_g_dl, "haemoglobin", "haemoglobin"),
    ):
        if value is None:
            continue
        measure = LIMIT_MEASURES[name]
        if not measure.lowest <= value <= measure.highest:
            raise ValueError(
                f"found a {words} of {value:g} {measure.unit}; expected {measure.lowest:g} to {measure.highest:g}"
            )
        said.append(f"{words} {value:g} {measure.unit}")
    tried = oxygen_delivery_what_if(
        basis.flow_index,
        basis.haemoglobin,
        basis.arterial_saturation,
        basis.arterial_oxygen_tension,
        within=basis.where,
        replaced_flow_index=None if flow_l_min is None else flow_l_min / basis.surface_m2,
        replaced_haemoglobin=haemoglobin_g_dl,
        constants=basis.constants,
    )
    courses = [known_with(one, basis.outlet) for one in (tried.recorded, tried.changed)]
    recorded, changed = (one for one in courses if isinstance(one, Series))
    rows = tuple(
        Row(limit, exposed(limit, recorded, window, exclude), exposed(limit, changed, window, exclude))
        for limit, window, exclude in basis.limits
    )
    return Replaced(" and ".join(said), rows, basis.where_s)


def _median(series: Series, where: Sequence[Interval]) -> float:
    inside = np.zeros(series.state.size, dtype=np.bool_)
    for start, end in where:
        inside |= (series.t >= start) & (series.t < end)
    inside &= series.state == OBSERVED
    return float(np.median(series.values[inside])) if inside.any() else float("nan")
