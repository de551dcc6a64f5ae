"""The case sheet: facts no recording carries; what is absent is None, what is wrong is named."""

from __future__ import annotations

from pathlib import Path

import pytest
from afterclamp.io.case_sheet import CaseSheet, load_case_sheet, seconds_from_start
from afterclamp.io.errors import FileUnreadable

WHOLE = """
[patient]
height_cm = 168
weight_kg = 74.0
sex = "female"
age_band = "50-59"
[inflow]
site = "axillary"
side = "right"
[plan]
flow_index = 2.4
rewarming_target_c = 36.5
[chest]
opened = "53:00"
closed = "5:40:00"
[ventilation]
tidal_volume_ml_per_kg = 8
[oxygen]
arterial_saturation = 1.0
arterial_oxygen_mmhg = 220
[oximetry]
baseline_start = "2:00"
baseline_end = "4:00"
[[haemoglobin]]
time = "100:00"
g_per_dl = 9.4
[[haemoglobin]]
time = "0:00"
g_per_dl = 13.6
"""


def _write(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "case-sheet.toml"
    path.write_bytes(text.encode(encoding))
    return path


@pytest.mark.parametrize(("encoding", "newline"), [("utf-8", "\n"), ("utf-8-sig", "\r\n")])
def test_every_fact_is_read(tmp_path: Path, encoding: str, newline: str) -> None:
    sheet = load_case_sheet(_write(tmp_path, WHOLE.replace("\n", newline), encoding))
    assert (sheet.patient.height_cm, sheet.patient.weight_kg) == (168.0, 74.0)
    assert (sheet.patient.sex, sheet.patient.age_band) == ("female", "50-59")
    assert (sheet.inflow_site, sheet.inflow_side) == ("axillary", "right")
    assert (sheet.planned_flow_index, sheet.rewarming_target_c) == (2.4, 36.5)
    assert (sheet.chest_opened_s, sheet.chest_closed_s) == (53 * 60.0, 340 * 60.0)
    assert sheet.ventilation.tidal_volume_ml_per_kg == 8.0
    assert (sheet.arterial_saturation, sheet.arterial_oxygen_mmhg) == (1.0, 220.0)
    assert sheet.baseline_window == (120.0, 240.0)
    assert sheet.haemoglobin_rows == ((0.0, 13.6), (6000.0, 9.4))


def test_absent_facts_are_none(tmp_path: Path) -> None:
    sheet = load_case_sheet(_write(tmp_path, "[patient]\nheight_cm = 168\n"))
    assert sheet.patient.weight_kg is None
    assert sheet.inflow_site is None
    assert sheet.planned_flow_index is None
    assert sheet.chest_opened_s is None
    assert sheet.ventilation.tidal_volume_ml_per_kg is None
    assert sheet.arterial_saturation is None
    assert sheet.baseline_window is None
    assert sheet.haemoglobin_rows == ()
    assert load_case_sheet(_write(tmp_path, "")) == CaseSheet()


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("0:00", 0.0), ("53:00", 3180.0), ("340:00", 20400.0), ("5:40:00", 20400.0), ("2:00.5", 120.5)],
)
def test_times_from_the_start(text: str, seconds: float) -> None:
    assert seconds_from_start(text) == seconds


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("[patient]\nheigth_cm = 168\n", "key patient.heigth_cm", "expected one of: height_cm, weight_kg"),
        ("[person]\nheight_cm = 168\n", "key person", "expected one of: patient, inflow"),
        (
            "[patient]\nheight_cm = 1.68\n",
            "key patient.height_cm",
            "found 1.68; expected a height from 20 to 250 cm",
        ),
        ('[patient]\nheight_cm = "168"\n', "key patient.height_cm", "found '168'; expected a height"),
        ("[patient]\nweight_kg = nan\n", "key patient.weight_kg", "expected a weight"),
        ("[patient]\nweight_kg = true\n", "key patient.weight_kg", "expected a weight"),
        ('[patient]\nage_band = "1968-02-03"\n', "key patient.age_band", "never a date of birth"),
        ('[patient]\nsex = "x"\n', "key patient.sex", "found 'x'"),
        ("patient = 3\n", "key patient", "expected a table [patient]"),
        ('[inflow]\nsite = "knee"\n', "key inflow.site", "found 'knee'; expected one of"),
        (
            '[chest]\nopened = "53"\n',
            "key chest.opened",
            "expected a time from the start of the record in quotes",
        ),
        ('[chest]\nopened = "53:60"\n', "key chest.opened", "found '53:60'"),
        ("[chest]\nopened = 07:42:00\n", "key chest.opened", "in quotes"),
        ('[chest]\nopened = "9:00"\nclosed = "8:00"\n', "key chest", "closed before it is opened"),
        ('[oximetry]\nbaseline_start = "2:00"\n', "key oximetry", "needs both"),
        ("[oxygen]\narterial_saturation = 98\n", "key oxygen.arterial_saturation", "0.98, not 98"),
        (
            '[[haemoglobin]]\ntime = "0:00"\n',
            "key haemoglobin[1].g_per_dl",
            "is missing; expected a haemoglobin",
        ),
        (
            '[[haemoglobin]]\ntime = "0:00"\ng_per_dl = 13\n[[haemoglobin]]\ntime = "x"\ng_per_dl = 13\n',
            "key haemoglobin[2].time",
            "found 'x'",
        ),
    ],
)
def test_what_is_wrong_is_named_with_its_key(tmp_path: Path, text: str, place: str, words: str) -> None:
    path = _write(tmp_path, text)
    with pytest.raises(FileUnreadable) as caught:
        load_case_sheet(path)
    assert caught.value.path == path
    assert caught.value.place == place
    assert words in caught.value.sentence
    assert caught.value.sentence.count("\n") == 0


def test_broken_toml_is_named_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(FileUnreadable, match="line 2"):
        load_case_sheet(_write(tmp_path, "[patient]\nheight_cm = \n"))


def test_text_in_another_encoding_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileUnreadable, match="not UTF-8"):
        load_case_sheet(_write(tmp_path, '[patient]\nsex = "mäle"\n', "latin-1"))


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileUnreadable, match="cannot be read"):
        load_case_sheet(tmp_path / "case-sheet.toml")


LEDGERS = """
[plan]
cardioplegia_interval_min = 25
[anticoagulation]
target_s = 480
target_source = "our unit"
[[heparin]]
time = "47:00"
units = 28000
[[clotting_time]]
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
"""


def test_drugs_and_doses_are_read(tmp_path: Path) -> None:
    sheet = load_case_sheet(_write(tmp_path, LEDGERS))
    assert sheet.plan.cardioplegia_interval_min == 25
    assert (sheet.anticoagulation.target_s, sheet.anticoagulation.target_source) == (480, "our unit")
    assert (sheet.heparin[0].time, sheet.heparin[0].units) == (47 * 60.0, 28000)
    one = sheet.clotting_time[0]
    assert (one.drawn, one.result, one.seconds) == (3000.0, 3330.0, 486)
    assert (sheet.protamine[0].time, sheet.protamine[0].mg) == (18960.0, 250)
    dose = sheet.cardioplegia[0]
    assert (dose.start, dose.end, dose.route, dose.volume_ml) == (7710.0, 7950.0, "root", 1000)
    assert (dose.temperature_c, dose.pressure_mmhg) == (4, 80)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[anticoagulation]\ntarget_s = 480\n", "a target needs its source"),
        (
            '[[clotting_time]]\ndrawn = "50:00"\nresult = "49:00"\nseconds = 486\n',
            "before the blood is drawn",
        ),
        ('[[cardioplegia]]\nstart = "50:00"\nend = "49:00"\n', "ends before it starts"),
        ('[[cardioplegia]]\nstart = "50:00"\nend = "52:00"\nroute = "arm"\n', "retrograde"),
        ('[[heparin]]\ntime = "ten"\n', "MMM:SS"),
    ],
)
def test_what_is_wrong_with_drugs_and_doses_is_named(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(FileUnreadable, match=words):
        load_case_sheet(_write(tmp_path, text))
