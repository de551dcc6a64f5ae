"""Terms: what a channel can be, where it is measured, and what its label proposes.

Kinds, sites and sides are the project's own short list; where ISO/IEEE 11073-10101 has a term, `mdc_term`
gives it. A proposal made from a label is only a proposal: a label that names no site gets none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from .identify import LEADS, propose
from .units import UNITS, convert, convertible, dimension, parse_unit

__all__ = [
    "KINDS",
    "SIDES",
    "STATISTICS",
    "UNITS",
    "Identity",
    "Kind",
    "convert",
    "convertible",
    "dimension",
    "identify",
    "mdc_term",
    "parse_unit",
    "units_of",
    "usable",
]

STATISTICS: Final = ("wave", "mean", "systolic", "diastolic", "value")
SIDES: Final = ("", "left", "right")

GUARD: Final = "engineering guard, no source"


@dataclass(frozen=True, slots=True)
class Kind:
    """What a channel can be.

    Attributes
    ----------
    name : str
        Token in files and code.
    plain_name : str
        As people say it.
    units : tuple of str
        UCUM codes that make sense for it, the project's own first; empty: any.
    plausible : tuple of float or None
        Lowest and highest value, in the first unit, that a doubtful unit is held against. Never a limit
        of care.
    plausible_source : str
        Where that range comes from.
    sites : tuple of str
        Site tokens.
    sided : bool
        Whether left and right are told apart.
    """

    name: str
    plain_name: str
    units: tuple[str, ...]
    plausible: tuple[float, float] | None = None
    plausible_source: str = GUARD
    sites: tuple[str, ...] = ()
    sided: bool = False


_PRESSURE = ("mm[Hg]", "kPa", "cm[H2O]", "Pa", "mbar")
_FLOW = ("L/min", "mL/min", "mL/s", "L/s", "L/h", "mL/h")
_FRACTION = ("%", "1")
ARTERIAL_SITES: Final = ("radial", "femoral", "axillary", "brachial", "aortic", "carotid")
TEMPERATURE_SITES: Final = ("arterial_outlet", "venous", "nasopharyngeal", "bladder", "oesophageal", "rectal")

KINDS: Final[Mapping[str, Kind]] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            Kind(
                "arterial_pressure", "arterial pressure", _PRESSURE, (-30, 330), GUARD, ARTERIAL_SITES, True
            ),
            Kind("central_venous_pressure", "central venous pressure", _PRESSURE, (-10, 40)),
            Kind("pulmonary_artery_pressure", "pulmonary artery pressure", _PRESSURE, (0, 80)),
            Kind("line_pressure", "line pressure", _PRESSURE, (-50, 500)),
            Kind("pump_flow", "pump flow", _FLOW, (0, 8)),
            Kind(
                "cardioplegia_flow",
                "cardioplegia flow",
                ("mL/min", "L/min", "mL/s", "L/s", "L/h", "mL/h"),
                (0, 1000),
            ),
            Kind("temperature", "temperature", ("Cel", "[degF]", "K"), (10, 42), GUARD, TEMPERATURE_SITES),
            Kind("cerebral_saturation", "cerebral saturation", _FRACTION, (10, 100), GUARD, (), True),
            Kind("venous_saturation", "venous saturation", _FRACTION, (20, 100)),
            Kind("arterial_saturation", "arterial saturation", _FRACTION, (40, 100), GUARD, ("peripheral",)),
            Kind("haemoglobin", "haemoglobin", ("g/dL", "g/L", "mmol/L"), (3, 25)),
            Kind("reservoir_volume", "reservoir volume", ("mL", "L", "dL"), (0, 6000)),
            Kind("heart_rate", "heart rate", ("/min", "Hz"), (0, 300)),
            Kind("cuff_pressure", "cuff pressure", _PRESSURE, (0, 330), GUARD, (), True),
            Kind("ecg", "ECG", ("mV", "uV", "V"), None, "", LEADS),
            Kind("respiration", "breathing", ()),
            Kind("plethysmogram", "finger light pulse", ()),
            Kind("other", "other", ()),
        )
    }
)

# Short names of the kinds that are told apart by kind alone.
_NAMES: Final = {
    "central_venous_pressure": "cvp",
    "pulmonary_artery_pressure": "pa",
    "cuff_pressure": "cuff",
}
_PLAIN: Final = {
    "central_venous_pressure": "central venous",
    "pulmonary_artery_pressure": "pulmonary artery",
    "cuff_pressure": "cuff",
}
_PRESSURE_KINDS: Final = frozenset(
    {
        "arterial_pressure",
        "central_venous_pressure",
        "pulmonary_artery_pressure",
        "line_pressure",
        "cuff_pressure",
    }
)
_UNIT_FREE: Final = frozenset({"other", "ecg", "respiration", "plethysmogram"})
# A site that is better said in fewer words beside the kind.
_SITE_NAMES: Final = {"arterial_outlet": "outlet"}


@dataclass(frozen=True, slots=True)
class Identity:
    """What a channel is: kind, site, side and which statistic it carries.

    Attributes
    ----------
    kind : str
        A key of `KINDS`.
    site : str
        One of the kind's sites, "" if unknown; never guessed.
    side : str
        ``"left"``, ``"right"`` or "".
    statistic : str
        ``"wave"``, ``"mean"``, ``"systolic"``, ``"diastolic"`` or ``"value"``.
    """

    kind: str
    site: str = ""
    side: str = ""
    statistic: str = "value"

    def __post_init__(self) -> None:
        kind = KINDS.get(self.kind)
        if kind is None:
            raise ValueError(f"kind '{self.kind}' is none of {', '.join(KINDS)}")
        if self.site and self.site not in kind.sites:
            raise ValueError(
                f"site '{self.site}' is none of {', '.join(kind.sites) or 'no site'} for {self.kind}"
            )
        if self.side not in SIDES or (self.side and not kind.sided):
            raise ValueError(f"side '{self.side}' does not fit {self.kind}")
        if self.statistic not in STATISTICS:
            raise ValueError(f"statistic '{self.statistic}' is none of {', '.join(STATISTICS)}")

    @property
    def name(self) -> str:
        """Canonical token: ``"left_radial"``, ``"cvp"``, ``"femoral_mean"``; "" if the kind is other."""
        words = self._words(joint="_")
        if not words:
            return ""
        if self.kind in _PRESSURE_KINDS and self.statistic in ("mean", "systolic", "diastolic"):
            words = f"{words}_{self.statistic}"
        return words

    @property
    def plain_name(self) -> str:
        """As people say it: ``"left radial"``, ``"central venous"``, ``"outlet temperature"``."""
        words = self._words(joint=" ") or KINDS[self.kind].plain_name
        if self.kind in _PRESSURE_KINDS and self.statistic in ("mean", "systolic", "diastolic"):
            words = f"{words} {self.statistic}"
        return words

    def _words(self, joint: str) -> str:
        if self.kind == "other":
            return ""
        site = _SITE_NAMES.get(self.site, self.site)
        if self.kind == "arterial_pressure":
            parts = [self.side, site or "arterial"]
        elif self.kind == "temperature":
            parts = [site, "temperature"]
        elif self.kind == "ecg":
            parts = ["ecg", site] if joint == "_" else ["ECG", site.upper().replace("AV", "aV")]
        elif joint == "_":
            parts = [self.side, _NAMES.get(self.kind, self.kind)]
        else:
            parts = [self.side, _PLAIN.get(self.kind, KINDS[self.kind].plain_name)]
        return joint.join(part for part in parts if part)


def identify(label: str, unit: str = "") -> Identity:
    """Propose what a channel is from its label and unit as written.

    A proposal for a person to confirm. The site is proposed only where the label names it: ``ABP`` and
    ``ART`` are arterial pressures without a site. A unit that cannot belong to the proposed kind (``PA``
    in ``%``) makes it ``other``; an unknown or empty unit contradicts nothing.

    Parameters
    ----------
    label : str
        As written in the file.
    unit : str
        As written in the file, or UCUM.

    Returns
    -------
    Identity
        Kind ``other`` where the label says nothing known. The statistic is ``mean``, ``systolic`` or
        ``diastolic`` where the label says so, else ``value``: whether it is a wave shows in its rate.

    Examples
    --------
    >>> identify("Art Rad L", "mmHg").name
    'left_radial'
    >>> identify("ABP", "mmHg").site
    ''
    """
    code = parse_unit(unit)
    kind, site, side, statistic = propose(label, dimension(code) if code else None)
    accepted = KINDS[kind].units
    if code is not None and accepted and not any(convertible(code, other) for other in accepted):
        return Identity("other")
    if not KINDS[kind].sided:
        side = ""
    return Identity(kind, site, side, statistic)


def units_of(kind: str) -> tuple[str, ...]:
    """UCUM codes that values of a kind can be read in; empty where any unit will do."""
    accepted = KINDS[kind].units
    return tuple(code for code in accepted if convertible(code, accepted[0]))


def usable(identity: Identity, unit: str) -> bool:
    """Whether values in this unit (UCUM, "" if unknown) can be what `identity` says.

    Kinds that no rule or figure rests on are shown in whatever unit they were written.
    """
    if identity.kind in _UNIT_FREE or not KINDS[identity.kind].units:
        return True
    return unit in units_of(identity.kind)


# Codes and reference names as listed in the open FHIR value set of ISO/IEEE 11073-10101 codes for monitoring
# (medizininformatik-initiative/kerndatensatzmodul-intensivmedizin, commit f94ca2c5) and in public HL7
# examples; the names without an asterisk in that list are from memory. Kinds that it lists without a code
# (line pressure and flow of the heart-lung machine, cerebral saturation) have none here.
_MDC: Final[Mapping[tuple[str, str, str], tuple[int, str]]] = MappingProxyType(
    {
        ("arterial_pressure", "", "systolic"): (150037, "MDC_PRESS_BLD_ART_ABP_SYS"),
        ("arterial_pressure", "", "diastolic"): (150038, "MDC_PRESS_BLD_ART_ABP_DIA"),
        ("arterial_pressure", "", "mean"): (150039, "MDC_PRESS_BLD_ART_ABP_MEAN"),
        ("central_venous_pressure", "", "value"): (150084, "MDC_PRESS_BLD_VEN_CENT"),
        ("central_venous_pressure", "", "wave"): (150084, "MDC_PRESS_BLD_VEN_CENT"),
        ("central_venous_pressure", "", "mean"): (150087, "MDC_PRESS_BLD_VEN_CENT_MEAN"),
        ("pulmonary_artery_pressure", "", "value"): (150044, "MDC_PRESS_BLD_ART_PULM"),
        ("pulmonary_artery_pressure", "", "wave"): (150044, "MDC_PRESS_BLD_ART_PULM"),
        ("pulmonary_artery_pressure", "", "systolic"): (150045, "MDC_PRESS_BLD_ART_PULM_SYS"),
        ("pulmonary_artery_pressure", "", "diastolic"): (150046, "MDC_PRESS_BLD_ART_PULM_DIA"),
        ("pulmonary_artery_pressure", "", "mean"): (150047, "MDC_PRESS_BLD_ART_PULM_MEAN"),
        ("cuff_pressure", "", "systolic"): (150021, "MDC_PRESS_BLD_NONINV_SYS"),
        ("cuff_pressure", "", "diastolic"): (150022, "MDC_PRESS_BLD_NONINV_DIA"),
        ("heart_rate", "", "value"): (147842, "MDC_ECG_HEART_RATE"),
        ("arterial_saturation", "peripheral", "value"): (150456, "MDC_PULS_OXIM_SAT_O2"),
        ("temperature", "oesophageal", "value"): (150372, "MDC_TEMP_ESOPH"),
        ("temperature", "nasopharyngeal", "value"): (150380, "MDC_TEMP_NASOPH"),
        ("temperature", "rectal", "value"): (188420, "MDC_TEMP_RECT"),
    }
)


def mdc_term(identity: Identity) -> tuple[int, str] | None:
    """ISO/IEEE 11073-10101 code and reference name, None where no term exists or is settled.

    Arterial pressures have no term per site here: the site is kept beside it. Bladder temperature is not
    settled in the list used, so it has none.
    """
    site = "" if identity.kind in ("arterial_pressure", "cuff_pressure") else identity.site
    return _MDC.get((identity.kind, site, identity.statistic))
