"""Terms and units: labels propose, units are read by a fixed table, conversion is exact."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.io.errors import UnitUnknown
from afterclamp.io.terms import KINDS, UNITS, Identity, convert, convertible, identify, mdc_term, parse_unit
from hypothesis import given, settings
from hypothesis import strategies as st


# Labels as they stand in the invented demo case, in the open recordings that the readers are tried on
# (MIMIC database: MCL1, ABP, RESP, II, V, Pleth), and in common use (common practice, no source).
@pytest.mark.parametrize(
    ("label", "unit", "name"),
    [
        ("LRAD", "mmHg", "left_radial"),
        ("RRAD", "mmHg", "right_radial"),
        ("FEM", "mmHg", "femoral"),
        ("Art Rad L", "mmHg", "left_radial"),
        ("ART Radial right", "mmHg", "right_radial"),
        ("ABP", "mmHg", "arterial"),
        ("ART", "mmHg", "arterial"),
        ("ABP Mean", "mmHg", "arterial_mean"),
        ("ABPs", "mmHg", "arterial_systolic"),
        ("ABPd", "mmHg", "arterial_diastolic"),
        ("MAP", "mmHg", "arterial_mean"),
        ("FEM mean", "mmHg", "femoral_mean"),
        ("femoral mean", "mmHg", "femoral_mean"),
        ("Axillary R", "mmHg", "right_axillary"),
        ("Ao", "mmHg", "aortic"),
        ("CVP", "mmHg", "cvp"),
        ("CVP mean", "mmHg", "cvp_mean"),
        ("PA", "mmHg", "pa"),
        ("PAP", "mmHg", "pa"),
        ("PA mean", "mmHg", "pa_mean"),
        ("PAP dia", "mmHg", "pa_diastolic"),
        ("NBP Sys", "mmHg", "cuff_systolic"),
        ("Line P", "mmHg", "line_pressure"),
        ("line pressure", "mmHg", "line_pressure"),
        ("Flow", "L/min", "pump_flow"),
        ("Arterial flow", "l/min", "pump_flow"),
        ("cardioplegia flow", "mL/min", "cardioplegia_flow"),
        ("T out", "degC", "outlet_temperature"),
        ("T art", "degC", "outlet_temperature"),
        ("outlet", "°C", "outlet_temperature"),
        ("T ven", "degC", "venous_temperature"),
        ("venous", "degC", "venous_temperature"),
        ("NP", "degC", "nasopharyngeal_temperature"),
        ("Bladder", "degC", "bladder_temperature"),
        ("Temp oesophageal", "C", "oesophageal_temperature"),
        ("NIRS L", "%", "left_cerebral_saturation"),
        ("rSO2 right", "%", "right_cerebral_saturation"),
        ("SvO2", "%", "venous_saturation"),
        ("venous saturation", "%", "venous_saturation"),
        ("Hb", "g/dL", "haemoglobin"),
        ("Reservoir", "mL", "reservoir_volume"),
        ("HR", "bpm", "heart_rate"),
        ("heart rate", "1/min", "heart_rate"),
        ("II", "mV", "ecg_ii"),
        ("V", "mV", "ecg_v"),
        ("MCL1", "mV", "ecg_mcl1"),
        ("RESP", "", "respiration"),
        ("Resp", "Ohm", "respiration"),
        ("Pleth", "NU", "plethysmogram"),
        ("SpO2", "%", "arterial_saturation"),
    ],
)
def test_a_label_proposes_kind_site_side_and_statistic(label: str, unit: str, name: str) -> None:
    assert identify(label, unit).name == name


@pytest.mark.parametrize(
    "label", ["ABP", "ART", "Art", "ABP Mean", "IBP", "P1 ART", "arterial pressure", "ART1"]
)
def test_a_label_without_a_site_gets_no_site(label: str) -> None:
    identity = identify(label, "mmHg")
    assert identity.kind == "arterial_pressure"
    assert (identity.site, identity.side) == ("", "")


@pytest.mark.parametrize(
    ("label", "unit"),
    [
        ("Angle", "deg"),
        ("aortic flow", "mL/s"),
        ("central pressure", "mmHg"),
        ("gas flow", "L/min"),
        ("femoral vein pressure", "mmHg"),
        ("PA wedge", "mmHg"),
        ("pulse pressure", "mmHg"),
        ("Art pH", ""),
        ("TV", "mL"),
        ("TV", ""),
        ("V", ""),
        ("PA", "%"),
        ("LRAD", "degC"),
        ("Flow", "L/min/m2"),
        ("", ""),
        ("  ?? ", "mmHg"),
    ],
)
def test_what_the_label_does_not_say_is_other(label: str, unit: str) -> None:
    assert identify(label, unit) == Identity("other")
    assert identify(label, unit).name == ""


def test_a_heater_outlet_is_not_the_arterial_outlet() -> None:
    assert identify("heater outlet", "degC") == Identity("temperature")


@settings(derandomize=True, deadline=None)
@given(st.text(max_size=30), st.text(max_size=8))
def test_any_label_and_unit_give_an_identity(label: str, unit: str) -> None:
    assert identify(label, unit).kind in KINDS


@pytest.mark.parametrize(
    ("identity", "plain"),
    [
        (Identity("arterial_pressure", "radial", "left"), "left radial"),
        (Identity("central_venous_pressure"), "central venous"),
        (Identity("pulmonary_artery_pressure", statistic="mean"), "pulmonary artery mean"),
        (Identity("temperature", "arterial_outlet"), "outlet temperature"),
        (Identity("cerebral_saturation", side="right"), "right cerebral saturation"),
        (Identity("pump_flow"), "pump flow"),
        (Identity("arterial_pressure", "femoral", statistic="wave"), "femoral"),
    ],
)
def test_plain_names(identity: Identity, plain: str) -> None:
    assert identity.plain_name == plain


@pytest.mark.parametrize(
    "words",
    [
        {"kind": "blood"},
        {"kind": "arterial_pressure", "site": "knee"},
        {"kind": "pump_flow", "side": "left"},
        {"kind": "pump_flow", "statistic": "mode"},
    ],
)
def test_an_identity_outside_the_lists_is_refused(words: dict[str, str]) -> None:
    with pytest.raises(ValueError, match=r"kind|site|side|statistic"):
        Identity(**words)


# Written variants: common practice, and the profiles of an open FHIR module for intensive care, which hold
# "l/min", "ml", "1/min", "l/(min.m2)", "(dyn.s)/cm5/m2", "dyn.s/(cm5.m2)" with a trailing tab, "L/min7m2".
# UCUM codes on the right.
@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("mmHg", "mm[Hg]"),
        ("mm Hg", "mm[Hg]"),
        ("mm[Hg]", "mm[Hg]"),
        ("  mmHg\t", "mm[Hg]"),
        ("kPa", "kPa"),
        ("cmH2O", "cm[H2O]"),
        ("cmH₂O", "cm[H2O]"),
        ("°C", "Cel"),
        ("ºC", "Cel"),
        ("℃", "Cel"),
        ("degC", "Cel"),
        ("Cel", "Cel"),
        ("C", "Cel"),
        ("°F", "[degF]"),
        ("L/min", "L/min"),
        ("l/min", "L/min"),
        ("mL/min", "mL/min"),
        ("ml/min", "mL/min"),
        ("mL/s", "mL/s"),
        ("ml", "mL"),
        ("L", "L"),
        ("g/dL", "g/dL"),
        ("g/L", "g/L"),
        ("%", "%"),
        ("/min", "/min"),
        ("bpm", "/min"),
        ("1/min", "/min"),
        ("mV", "mV"),
        ("µV", "uV"),
        ("μV", "uV"),
        ("L/min/m2", "L/min/m2"),
        ("l/(min.m2)", "L/min/m2"),
        ("L/min/m²", "L/min/m2"),
        ("(dyn.s)/cm5/m2", "dyn.s/cm5/m2"),
        ("dyn.s/(cm5.m2)\t", "dyn.s/cm5/m2"),
        ("s", "s"),
    ],
)
def test_written_variants_of_a_unit(written: str, code: str) -> None:
    assert parse_unit(written) == code


@pytest.mark.parametrize(
    "written", ["L/min7m2", "l/min7m2", "", "   ", "mmHgg", "MV", "mmhG", "L/m", "xyz", "mmHg/L"]
)
def test_an_unknown_unit_is_never_guessed(written: str) -> None:
    assert parse_unit(written) is None


def test_no_written_variant_stands_for_two_units() -> None:
    seen: dict[str, str] = {}
    for unit in UNITS.values():
        for written in (unit.code, *unit.written):
            assert parse_unit(written) == unit.code, written
            assert seen.setdefault(written, unit.code) == unit.code


# UCUM: mm[Hg] is 133.322 Pa exactly, m[H2O] 9.80665 kPa; the rest is arithmetic on SI and the freezing and
# boiling point of water on both scales.
@pytest.mark.parametrize(
    ("value", "unit_from", "unit_to", "expected"),
    [
        (13.3322, "kPa", "mm[Hg]", 100.0),
        (1.0, "mm[Hg]", "Pa", 133.322),
        (133.322, "cm[H2O]", "mm[Hg]", 98.0665),
        (32.0, "[degF]", "Cel", 0.0),
        (212.0, "[degF]", "Cel", 100.0),
        (37.0, "Cel", "[degF]", 98.6),
        (0.0, "Cel", "K", 273.15),
        (4400.0, "mL/min", "L/min", 4.4),
        (10.0, "mL/s", "L/min", 0.6),
        (136.0, "g/L", "g/dL", 13.6),
        (0.62, "1", "%", 62.0),
        (1.2, "Hz", "/min", 72.0),
    ],
)
def test_conversion_is_exact(value: float, unit_from: str, unit_to: str, expected: float) -> None:
    assert convert(value, unit_from, unit_to) == pytest.approx(expected, rel=1e-15, abs=1e-13)


def test_missing_values_stay_missing() -> None:
    got = convert(np.array([np.nan, 10.0]), "kPa", "mm[Hg]")
    assert np.isnan(got[0])
    assert got.dtype == np.float64


@settings(derandomize=True, deadline=None)
@given(st.sampled_from(sorted(UNITS)), st.sampled_from(sorted(UNITS)), st.floats(-1e6, 1e6))
def test_only_units_of_one_dimension_convert_and_back_again(
    unit_from: str, unit_to: str, value: float
) -> None:
    if not convertible(unit_from, unit_to):
        with pytest.raises(UnitUnknown, match="cannot become"):
            convert(value, unit_from, unit_to)
        return
    there = convert(value, unit_from, unit_to)
    assert convert(there, unit_to, unit_from) == pytest.approx(value, rel=1e-12, abs=1e-9)


def test_an_unknown_code_is_named() -> None:
    with pytest.raises(UnitUnknown, match="L/min7m2"):
        convert(1.0, "L/min7m2", "L/min")


# Codes as listed in the open value set of ISO/IEEE 11073-10101 codes of the German intensive-care FHIR module
# (kerndatensatzmodul-intensivmedizin, commit f94ca2c5) and public HL7 examples.
@pytest.mark.parametrize(
    ("identity", "code"),
    [
        (Identity("central_venous_pressure", statistic="wave"), 150084),
        (Identity("central_venous_pressure", statistic="mean"), 150087),
        (Identity("arterial_pressure", "radial", "left", "mean"), 150039),
        (Identity("pulmonary_artery_pressure", statistic="systolic"), 150045),
        (Identity("temperature", "nasopharyngeal"), 150380),
        (Identity("temperature", "oesophageal"), 150372),
        (Identity("temperature", "rectal"), 188420),
        (Identity("heart_rate"), 147842),
    ],
)
def test_terms_of_the_standard(identity: Identity, code: int) -> None:
    term = mdc_term(identity)
    assert term is not None
    assert term[0] == code
    assert term[1].startswith("MDC_")


@pytest.mark.parametrize(
    "identity",
    [
        Identity("pump_flow"),
        Identity("line_pressure"),
        Identity("cerebral_saturation", side="left"),
        Identity("temperature", "bladder"),
        Identity("other"),
    ],
)
def test_no_term_is_made_up(identity: Identity) -> None:
    assert mdc_term(identity) is None


def test_every_kind_names_known_units_and_its_range_is_said_to_be_a_guard() -> None:
    for kind in KINDS.values():
        assert all(code in UNITS for code in kind.units), kind.name
        if kind.plausible is not None:
            assert kind.plausible[0] < kind.plausible[1]
            assert kind.plausible_source == "engineering guard, no source"
