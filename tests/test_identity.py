"""Identity: forty planted names, numbers and dates across formats, and words of the trade that are none of it."""

from __future__ import annotations

import csv
import time
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io import bring_in, open_case
from afterclamp.io.identity import Found, find_identifiers, without
from afterclamp.io.plan import look
from afterclamp.io.recording import Note, Recording, Segment
from afterclamp.io.scrub import (
    NEUTRAL_DAY,
    clean_comments,
    clean_file_name,
    find_in_header,
    neutral,
    scrub,
)
from afterclamp.sample_traces import build
from hypothesis import given
from hypothesis import strategies as st
from recordings import even, recording

# Every person, number and address here is invented. The forms of the numbers are those of public descriptions: ten
# digits of an NHS number, nine of a social security number (none begins with 9), thirteen of an AHV number, and how
# departments commonly number their cases.
PLANTED = {
    "number in the patient field of the EDF+ header": "0048213",
    "date of birth in the EDF+ header": "17-MAR-1953",
    "name in the EDF+ header": "Beispiel",
    "case number in the EDF+ header": "OP-2031-0731",
    "technician in the EDF+ header": "Brandt",
    "start date in the EDF+ header": "04-MAY-2031",
    "name in the EDF file name": "Beispiel_Anna",
    "name in an EDF label": "ABP Beispiel",
    "doctor in an EDF annotation": "Keller",
    "insurance number in an EDF annotation": "756.1234.5678.97",
    "date of birth in an EDF annotation": "17.03.1953",
    "number in the table's file name": "1234567",
    "date in the table's file name": "2031-05-04",
    "name above the table": "Novak, Petra",
    "date of birth above the table": "3 June 1948",
    "hospital number above the table": "H99213-7",
    "telephone above the table": "+41 44 555 01 22",
    "mail address above the table": "p.novak@example.org",
    "name in a column's header": "Novak",
    "date in the rows of the table": "2031-05-05",
    "doctor in the log": "Lindqvist",
    "author of a log line": "Okonkwo",
    "woman in the log": "Tanaka",
    "patient number in the log": "7730192",
    "date in the log": "5/4/2031",
    "perfusionist in the log": "Ferreira",
    "signature in the log": "Ahlberg",
    "NHS number in the log": "943 476 5919",
    "social security number in the log": "900-55-0120",
    "date of another operation in the log": "12 May 2029",
    "man in the log": "Schneider",
    "patient in the log": "Rossi",
    "somebody told in the log": "Hannah",
    "somebody spoken to in the captions": "John",
    "speaker in the captions": "Maria Popova",
    "case number in the captions": "4471-22",
    "note in the captions": "Sofia Marin",
    "record name of a WFDB header": "p0047118",
    "comment of a WFDB header": "Zeller",
    "colleague in the log, without a title": "Weber",
}
LINES = [
    "07:48,left radial in,",
    "07:56,handover to Dr Lindqvist,M. Okonkwo",
    "08:01,called Mrs Tanaka,perfusionist",
    "08:10,pat id 7730192 checked,",
    "08:18,op on 5/4/2031,",
    "08:31,Perfusionist: Ferreira,",
    "08:36,ACT 486,",
    '08:37,"signed K. Ahlberg, NHS 943 476 5919",',
    "08:44,on bypass,",
    "08:48,SSN 900-55-0120,",
    "09:21,re-do from 12 May 2029,",
    "09:52,clamp on; Herr Schneider informed,",
    "09:55,patient Rossi cooled to 24.0,",
    "10:14,tell Hannah circ on,",
    "10:25,over to Weber,",
]


def edf(path: Path) -> None:
    def field(*texts: str, width: int) -> str:
        return "".join(f"{text:<{width}}" for text in texts)

    header = (
        field("0", width=8)
        + field("MRN-0048213 F 17-MAR-1953 Anna_Beispiel", width=80)
        + field("Startdate 04-MAY-2031 OP-2031-0731 Brandt_K Recorder_2", width=80)
        + "04.05.3107.42.00"
        + field("768", width=8)
        + field("EDF+C", width=44)
        + field("20", "1", width=8)
        + field("2", width=4)
        + field("ABP Beispiel", "EDF Annotations", width=16)
        + field("", "", width=80)
        + field("mmHg", "", width=8)
        + field("-300", "-1", "355.35", "1", "-32768", "-32768", "32767", "32767", width=8)
        + field("", "", width=80)
        + field("100", "60", width=8)
        + field("", "", width=32)
    )
    texts = {
        3: "Dr Keller called",
        5: "756.1234.5678.97 on the band",
        7: "born 17.03.1953",
        9: "flush",
    }
    body = b""
    for record in range(20):
        t = np.arange(100) / 100
        values = 90 + 20 * np.sin(2 * np.pi * 1.2 * t)
        body += np.round((values + 300) / 0.01 - 32768).astype("<i2").tobytes()
        told = f"+{record}\x14\x14\x00"
        if record in texts:
            told += f"+{record}\x14{texts[record]}\x14\x00"
        body += told.encode().ljust(120, b"\0")
    path.write_bytes(header.encode("ascii") + body)


def table(path: Path) -> None:
    rows = "".join(
        f"2031-05-0{4 + (i >= 60)} {(23 + i // 60) % 24:02d}:{i % 60:02d}:00,{4 + i / 100:.2f}\n"
        for i in range(90)
    )
    path.write_text(
        "Patient: Novak, Petra\nDOB: 3 June 1948\nHospital No: H99213-7\n"
        "call +41 44 555 01 22 or p.novak@example.org\ntime,flow Novak (L/min)\n" + rows
    )


@pytest.fixture(scope="module")
def exports(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("identity") / "exports"
    folder.mkdir()
    edf(folder / "Beispiel_Anna_monitor.edf")
    table(folder / "pump_1234567_2031-05-04.csv")
    (folder / "log.csv").write_text("time,text,by\n" + "\n".join(LINES) + "\n")
    (folder / "captions.vtt").write_text(
        "WEBVTT\n\nNOTE Recorded by Sofia Marin\n\n"
        "00:01.000 --> 00:02.000\nGoing on.\n\n"
        "00:03.000 --> 00:04.000\nJohn, clamp off please.\n\n"
        "00:05.000 --> 00:06.000\nThis is Maria Popova, case no. 4471-22.\n"
    )
    (folder / "p0047118.hea").write_text(
        "p0047118 1 125 250\np0047118.dat 16 200/mV 16 0 0 0 0 II\n# Name: Hartwig Zeller\n"
    )
    (folder / "p0047118.dat").write_bytes(np.zeros(250, "<i2").tobytes())
    (folder / "case-sheet.toml").write_text(
        "# Anna Beispiel, 4.5.2031\n[patient]\nheight_cm = 168 # Petra says so\nweight_kg = 74\n"
    )
    return folder


def kept(case: Path) -> bytes:
    """Every byte of a case that can be handed on."""
    files = [path for path in case.rglob("*") if path.is_file() and path.parent.name != "cache"]
    return b"\n".join(
        [*(str(path.relative_to(case)).encode() for path in files), *(p.read_bytes() for p in files)]
    )


def test_at_least_39_of_40_planted_identifiers_are_kept_out_and_the_rest_is_listed(
    exports: Path, tmp_path: Path
) -> None:
    assert len(PLANTED) == 40
    plan = look([exports], tmp_path / "case")
    bring_in(exports, tmp_path / "case").close()
    held = kept(tmp_path / "case").lower()
    left = {where: what for where, what in PLANTED.items() if what.lower().encode() in held}
    assert len(left) <= 1, left
    listed = " ".join(one.text for one in plan.found if not one.sure)
    assert all(what in listed for what in left.values())


def test_what_is_listed_holds_the_case_sheets_comments_as_well(exports: Path, tmp_path: Path) -> None:
    listed: list[Found] = []
    bring_in(exports, tmp_path / "case", listed=listed.extend).close()
    comments = {(one.kind, one.text) for one in listed if one.place == "comment in the case sheet"}
    assert comments >= {("date", "4.5.2031")}
    assert {one.text for one in listed} >= {"Novak", "756.1234.5678.97", "Hartwig Zeller"}
    assert any(not one.sure for one in listed)


def test_the_case_says_how_many_were_kept_out_where_and_never_what(exports: Path, tmp_path: Path) -> None:
    with bring_in(exports, tmp_path / "case") as case:
        told = " ".join(line for source in case.sources for line in source.set_aside)
    assert "identity: a name was kept out (label of a channel)" in told
    assert "were kept out (note)" in told
    assert not any(what.lower() in told.lower() for what in PLANTED.values())


def test_what_is_not_identity_stays(exports: Path, tmp_path: Path) -> None:
    with bring_in(exports, tmp_path / "case") as case:
        texts = [note.text for note in case.notes]
        assert {source.name for source in case.sources} == {"monitor", "pump", "log", "captions", "wfdb"}
        assert [channel.label for channel in case.channels if channel.kind == "arterial_pressure"] == ["ABP"]
        assert case["pump_flow"].label == "flow"
        for stays in (
            "left radial in",
            "ACT 486",
            "on bypass",
            "flush",
            "Going on.",
            "patient [name] cooled to 24.0",
        ):
            assert stays in texts
        assert "clamp on; Herr [name] informed" in texts
        assert case.patient.height_cm == 168


def test_identity_stays_where_it_is_kept_on_purpose(exports: Path, tmp_path: Path) -> None:
    with bring_in(exports, tmp_path / "case", keep_identity=True) as case:
        assert any(note.text == "Dr Keller called" for note in case.notes)
        assert case.start_clock is not None
        assert case.start_clock.date() == date(2031, 5, 4)
        assert {source.name for source in case.sources} >= {"Beispiel_Anna_monitor", "p0047118"}


def test_days_become_a_distance_and_the_time_of_day_stays(exports: Path, tmp_path: Path) -> None:
    with bring_in(exports, tmp_path / "case") as case:
        stamps = {source.name: source.first_stamp for source in case.sources if source.dated}
        assert stamps == {"monitor": datetime(2000, 1, 1, 7, 42), "pump": datetime(2000, 1, 1, 23, 0)}
        # 15 h 18 min from the monitor's first stamp to the pump's
        assert case["pump_flow"].span.start == pytest.approx(15.3 * 3600)
        assert all(source.about["date"].startswith("taken out") for source in case.sources if source.dated)


def test_a_source_added_later_keeps_its_day(exports: Path, tmp_path: Path) -> None:
    bring_in(exports / "Beispiel_Anna_monitor.edf", tmp_path / "case").close()
    with bring_in(exports / "pump_1234567_2031-05-04.csv", tmp_path / "case") as case:
        assert case["pump_flow"].span.start == pytest.approx(15.3 * 3600)


def test_without_the_day_a_later_source_is_set_on_the_nearest(exports: Path, tmp_path: Path) -> None:
    bring_in(exports / "Beispiel_Anna_monitor.edf", tmp_path / "case").close()
    (tmp_path / "case" / "cache" / "sources.json").unlink()
    with bring_in(exports / "pump_1234567_2031-05-04.csv", tmp_path / "case") as case:
        # 23:00 is nearer to 07:42 of the day before: 8 h 42 min earlier
        assert case["pump_flow"].span.start == pytest.approx(-8.7 * 3600)
        assert b"2031" not in kept(tmp_path / "case").replace(b'"made": "2031', b"")


@pytest.mark.parametrize(
    "text",
    [
        "Clamp on", "ACT 486", "Swan floated", "Du Bois 1.82 m2", "Bentall procedure", "David operation planned",
        "Trendelenburg position", "Foley in", "heparin 350000 IU", "Noradrenaline 0.1 mcg/kg/min", "by pump",
        "9.44.30 flush", "Kirklin table", "Fick 4.2 L/min", "Protamine 300 mg",
        "PA catheter is through, mean of fifty.",
        "Line pressure three forty-five, I am coming down.", "Surgeon asks for vent", "Patient stable",
        "BP 120/80 at 08.31",
        "CI 2.4 L/min/m2", "rows 1048576 samples", "pacing DDD 90", "Off, second side.", "Nurse to phone ICU",
        "Propofol with Remifentanil", "Ringer 500 mL", "Cardioplegia 20 mL/kg, Frank says no",
    ],
)  # fmt: skip
def test_words_of_the_trade_values_and_times_are_no_identity(text: str) -> None:
    assert [one for one in find_identifiers(text) if one.sure] == []


def test_nothing_of_the_demo_is_taken_for_identity(demo_exports: Path, tmp_path: Path) -> None:
    plan = look([demo_exports], tmp_path / "case")
    assert plan.found == ()
    assert {r.name for r in plan.recordings} == {"captions", "log", "monitor", "oximeter", "pump"}
    folder = Path(build.__file__).parent
    for name in ("log.csv", "captions.csv"):
        with (folder / name).open(encoding="utf-8", newline="") as file:
            assert all(find_identifiers(row["text"]) == [] for row in csv.DictReader(file))


@pytest.mark.parametrize(
    ("name", "left"),
    [
        ("Smith_John_1961-03-04_pump.csv", "pump.csv"),
        ("monitor 20310504_074200.edf", "monitor_074200.edf"),
        ("0048213.edf", "file.edf"),
        ("step6_resolution.csv", "step6_resolution.csv"),
        ("p000138-2131-10-31-13-39.mat", "13-39.mat"),
    ],
)
def test_file_names_lose_names_numbers_and_dates(name: str, left: str) -> None:
    assert clean_file_name(name) == left


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("DOE^JOHN^A", "name"),
        ("Prof. Dr. med. H. Keller", "name"),
        ("seen by A. Brandt", "name"),
        ("Herr von Beispiel", "name"),
        ("MRN: 55-1234", "number"),
        ("geb. 4.5.61", "date of birth"),
        ("DOB 040561", "date of birth"),
        ("May 4, 2031", "date"),
        ("20310504", "date"),
        ("bleep 4471 22", "contact"),
    ],
)
def test_forms_of_identity(text: str, kind: str) -> None:
    found = [one for one in find_identifiers(text) if one.sure]
    assert [one.kind for one in found] == [kind]
    assert text[found[0].start : found[0].end] == found[0].text


def test_digits_that_are_left_of_a_name_stand_behind_the_format() -> None:
    one = Recording("3975656_0012", "WFDB", (("3975656_0012.hea", "0"),))
    assert scrub(one)[0].name == "wfdb_0012"
    assert scrub(Recording("12726", "WFDB", (("12726.hea", "0"),)))[0].name == "12726"


def test_a_name_found_once_is_found_everywhere() -> None:
    one = recording("pump", [even("flow zeller", np.zeros(10, "f4"), [Segment(0, 0, 10, 1.0)], unit="L/min")])
    two = Recording(
        "log", "log", (("zeller.csv", "0"),), notes=(Note(0, 0, "Dr Zeller"), Note(1, 1, "zeller off"))
    )
    cleaned, found = scrub(two)
    assert [note.text for note in cleaned.notes] == ["Dr [name]", "[name] off"]
    assert cleaned.files[0][0] == "log.csv"
    cleaned, _ = scrub(one, known={"Zeller"})
    assert (cleaned.channels[0].label, cleaned.channels[0].key) == ("flow", "flow")
    assert found[0].place == "file name"


def test_what_a_source_says_of_a_renamed_channel_follows_it() -> None:
    one = recording("pump", [even("Novak, Petra", np.zeros(10, "f4"), [Segment(0, 0, 10, 1.0)])])
    key = one.channels[0].key
    about = {
        f"identity:{key}": "pump_flow|||value",
        f"{key} transducer": "Dr Novak's",
        "rows": "1234567, even",
    }
    cleaned, _ = scrub(Recording("pump", "table", one.files, one.channels, about=about))
    assert cleaned.channels[0].key == "channel_1"
    assert cleaned.about == {
        "identity:channel_1": "pump_flow|||value",
        "channel_1 transducer": "Dr [name]",
        "rows": "1234567, even",
    }


def test_comments_of_the_sheet_are_cleaned_and_its_values_are_not() -> None:
    text = b'# Anna Beispiel\n[plan]\nnote = "# Anna" # Mr Smith\n'
    assert clean_comments(text) == b'# [name]\n[plan]\nnote = "# Anna" # Mr [name]\n'


def test_a_day_that_counts_for_nothing_is_the_neutral_one() -> None:
    one = recording("pump", [])
    undated = Recording("pump", "m", one.files, first_stamp=datetime(2031, 5, 4, 8), dated=False)
    told = neutral(undated, date(2031, 5, 3))
    assert (told.first_stamp, told.dated, told.about) == (datetime(2000, 1, 1, 8), False, {})
    moved = neutral(one, date(2025, 12, 31))
    assert moved.first_stamp == datetime(2000, 1, 2, 8)
    assert moved.first_stamp.date() - NEUTRAL_DAY == timedelta(days=1)


def test_persons_numbers_and_days_of_a_dicom_header_are_listed(tmp_path: Path) -> None:
    import pydicom

    told = pydicom.Dataset()
    told.file_meta = pydicom.dataset.FileMetaDataset()
    told.file_meta.TransferSyntaxUID = pydicom.uid.ExplicitVRLittleEndian
    told.file_meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.9.2.1"
    told.file_meta.MediaStorageSOPInstanceUID = "2.25.1"
    told.PatientName, told.PatientID, told.PatientBirthDate = "Beispiel^Anna", "0048213", "19530317"
    told.OperatorsName, told.StudyDate = "Brandt^K", "20310504"
    told.save_as(tmp_path / "wave.dcm", enforce_file_format=True)
    found = {(one.kind, one.text) for one in find_in_header(tmp_path / "wave.dcm")}
    assert found == {
        ("name", "Beispiel Anna"),
        ("number", "0048213"),
        ("date of birth", "19530317"),
        ("name", "Brandt K"),
        ("date", "20310504"),
    }


@given(st.text(max_size=60), st.sampled_from(["text", "file name", "label", "author"]))
def test_any_text_is_looked_through_and_what_is_found_stands_there(text: str, where: str) -> None:
    found = find_identifiers(text, where=where)  # type: ignore[arg-type]
    for one in found:
        assert text[one.start : one.end] == one.text
    assert all(a.end <= b.start for a, b in pairwise(found))
    assert "\0" not in without(text.replace("\0", ""), find_identifiers(text.replace("\0", "")), tidy=True)


def test_a_case_of_neutral_dates_opens_and_reads(exports: Path, tmp_path: Path) -> None:
    bring_in(exports, tmp_path / "case").close()
    with open_case(tmp_path / "case") as case:
        assert case.clock_text(0.0) == "07:42:00"


LONG = 30_000


@pytest.mark.parametrize(
    "part",
    [
        "Ab cd Ef ",
        "a",
        "1",
        "14.03.2031 ",
        "A^",
        " ",
        "Dr Keller, ",
        ".",
        "may ",
        "id ",
        "born ",
        "a@",
        "John John ",
    ],
)
@pytest.mark.parametrize("where", ["text", "file name"])
def test_a_long_line_takes_no_longer_than_its_length(part: str, where: str) -> None:
    line = part * (LONG // len(part))
    begun = time.process_time()
    without(line, find_identifiers(line, where=where), tidy=True)  # type: ignore[arg-type]
    assert time.process_time() - begun < 2  # squared, it would be half a minute
