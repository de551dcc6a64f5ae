"""The handwritten log: times as people write them, in the order in which they stand."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from afterclamp.io.errors import FileUnreadable
from afterclamp.io.readers import Claim
from afterclamp.io.readers.handwritten import READER, written_time
from afterclamp.io.recording import Recording


def _write(folder: Path, text: str, name: str = "log.csv", encoding: str = "utf-8") -> Path:
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def _read(path: Path) -> Recording:
    (recording,) = READER.read(path, {})
    return recording


def _claim(path: Path) -> Claim:
    return READER.claims(path, path.read_bytes()[:4096])


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("07:48", 7 * 3600 + 48 * 60),
        ("0944", 9 * 3600 + 44 * 60),
        ("9.44", 9 * 3600 + 44 * 60),
        ("9:44", 9 * 3600 + 44 * 60),
        ("944", 9 * 3600 + 44 * 60),
        ("9h44", 9 * 3600 + 44 * 60),
        (" 23:59 ", 86340),
        ("9:44:30", 9 * 3600 + 44 * 60 + 30),
        ("9:44 pm", 21 * 3600 + 44 * 60),
        ("12:05 am", 300),
        ("12:05 PM", 43500),
    ],
)
def test_a_time_of_day_is_read_as_people_write_it(text: str, seconds: float) -> None:
    time = written_time(text)
    assert time is not None
    assert time.second_of_day == seconds


@pytest.mark.parametrize(
    "text", ["", "24:00", "9:60", "2460", "13:05 pm", "about 9", "9", "99999", "9,44", "-1:00"]
)
def test_what_is_no_time_of_day_is_none(text: str) -> None:
    assert written_time(text) is None


def test_a_whole_minute_leaves_half_a_minute_open_to_either_side() -> None:
    # Standard deviation of a uniform spread of width w is w / sqrt(12) (any textbook): 60 / sqrt(12) = 17.32.
    minute, second = written_time("07:48"), written_time("07:48:10")
    assert minute is not None
    assert second is not None
    assert minute.sd_s == pytest.approx(17.3205, abs=1e-4)
    assert second.sd_s == pytest.approx(0.288675, abs=1e-6)


def test_lines_keep_their_order_and_stay_one_run(tmp_path: Path) -> None:
    path = _write(
        tmp_path,
        'time,text\n10:59,full flow\n11:02,clamp off\n12:51,off bypass\n12:48,"protamine, slowly"\n11:19,shock x1\n',
    )
    assert _claim(path) is Claim.MINE
    log = _read(path)
    assert [note.text for note in log.notes] == [
        "full flow",
        "clamp off",
        "off bypass",
        "protamine, slowly",
        "shock x1",
    ]
    assert [note.start_s for note in log.notes] == [0.0, 180.0, 6720.0, 6540.0, 1200.0]
    assert {note.run for note in log.notes} == {0}
    assert all(
        note.end_s == note.start_s and note.sd_s == pytest.approx(17.32, abs=0.01) for note in log.notes
    )
    assert log.first_stamp is not None
    assert log.first_stamp.time() == datetime(2000, 1, 1, 10, 59).time()
    assert not log.dated
    assert log.channels == ()
    assert log.name == "log"
    assert log.files[0][0] == "log.csv"
    assert len(log.files[0][1]) == 64


def test_role_and_certainty_are_kept(tmp_path: Path) -> None:
    log = _read(
        _write(
            tmp_path,
            "written time;entry;certainty;role\n0944;on bypass;sure;perfusion\n0952;clamp on;about;\n",
        )
    )
    assert [(note.text, note.author) for note in log.notes] == [
        ("on bypass (sure)", "perfusion"),
        ("clamp on (about)", ""),
    ]


@pytest.mark.parametrize(
    "text", ["07:48 left radial in\n08:31 heparin 300\n", "0748\tleft radial in\n\n0831 - heparin 300\n"]
)
def test_plain_lines_that_begin_with_a_time(tmp_path: Path, text: str) -> None:
    path = _write(tmp_path, text, "sheet.txt")
    assert _claim(path) is Claim.MINE
    log = _read(path)
    assert [(note.start_s, note.text) for note in log.notes] == [
        (0.0, "left radial in"),
        (2580.0, "heparin 300"),
    ]


def test_a_night_over_midnight_goes_on(tmp_path: Path) -> None:
    log = _read(
        _write(tmp_path, "time,text\n23:50,on bypass\n00:10,clamp on\n23:58,late entry\n00:20,clamp off\n")
    )
    assert [note.start_s for note in log.notes] == [0.0, 1200.0, 480.0, 1800.0]


def test_a_written_date_counts(tmp_path: Path) -> None:
    log = _read(_write(tmp_path, "time,text\n2031-05-04 23:50,on bypass\n2031-05-06 00:10,out\n"))
    assert log.dated
    assert log.first_stamp == datetime(2031, 5, 4, 23, 50)
    assert log.notes[1].start_s == 24 * 3600 + 1200.0


@pytest.mark.parametrize(
    ("encoding", "newline"), [("utf-8-sig", "\r\n"), ("utf-16", "\n"), ("latin-1", "\r\n")]
)
def test_encodings_and_line_ends(tmp_path: Path, encoding: str, newline: str) -> None:
    path = _write(tmp_path, f"time,text{newline}09:44,Kühlung 20 °C{newline}", encoding=encoding)
    assert _claim(path) is Claim.MINE
    assert _read(path).notes[0].text == "Kühlung 20 °C"


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("pump.csv", "time,flow (L/min)\n07:42:00,4.4\n07:42:01,4.4\n"),
        ("pump.csv", "time,event,HR\n07:42:00,start,72\n07:42:01,,72\n"),
        ("gas.csv", "time,text\n07:42,7.38\n07:43,7.40\n"),
        ("rows.txt", "07:42:00 4.4 120\n07:42:01 4.4 121\n"),
        ("readme.txt", "These files belong together.\nNothing else.\n"),
        ("log.py", "time,text\n07:42,start\n"),
        ("noise.csv", "time,text\n07:42,a\x00b\n"),
    ],
)
def test_what_is_no_log_is_left_to_others(tmp_path: Path, name: str, text: str) -> None:
    assert _claim(_write(tmp_path, text, name)) is Claim.NOT_MINE


@pytest.mark.parametrize(
    ("name", "text", "place", "words"),
    [
        ("log.csv", "time,text\n09:44,on bypass\n9:77,clamp on\n", "line 3", "found '9:77'"),
        ("log.csv", "time,text\n09:44,on bypass\n,clamp on\n", "line 3", "no time"),
        ("log.csv", 'time,text\n09:44,"on\nbypass"\nsoon,clamp on\n', "line 4", "found 'soon'"),
        ("log.csv", "time,text\n09:44,on bypass, at last\n", "line 2", "into quotes"),
        ("log.csv", "time,text\n", "", "no line"),
        ("log.csv", "  \n", "", "empty"),
        (
            "log.txt",
            "09:44 on bypass\n09:52 clamp on\n09:55 off\n1055 on\n10:7 shock\n",
            "line 5",
            "found '10:7'",
        ),
    ],
)
def test_a_line_that_cannot_be_read_is_named(
    tmp_path: Path, name: str, text: str, place: str, words: str
) -> None:
    path = _write(tmp_path, text, name)
    with pytest.raises(FileUnreadable) as caught:
        _read(path)
    assert caught.value.place == place
    assert words in caught.value.sentence
    assert str(path) in caught.value.sentence


def test_what_is_left_out_is_listed(tmp_path: Path) -> None:
    log = _read(_write(tmp_path, "time,text,page\n09:44,on bypass,a\n09:50,,b\n"))
    assert len(log.notes) == 1
    assert any("column page" in line for line in log.set_aside)
    assert any("line 3" in line and "without a text" in line for line in log.set_aside)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('time,text\n09:44,"on bypass\n09:52,clamp on\n', 2),
        ('time,text\n09:44,on bypass\n09:52,"clamp on\n', 3),
        ('time,text\n09:44,"on bypass\n09:52,clamp on"\n09:55,cooling\n', 2),
        ('time;text;role\n0944;"on bypass;perfusionist\n0952;clamp on";surgeon\n', 2),
        ('time,text\n"09:44,on bypass\n09:52,clamp on"\n09:55,cooling\n', 2),
    ],
)
def test_a_quotation_mark_swallows_no_line(tmp_path: Path, text: str, line: int) -> None:
    with pytest.raises(FileUnreadable) as caught:
        _read(_write(tmp_path, text))
    assert caught.value.place == f"line {line}"
    assert "quotation mark" in caught.value.what
    assert caught.value.todo.startswith("Close the quotation mark")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('time,text\n09:44,"heparin given,\n25000 units, by hand"\n09:52,clamp on\n', "25000 units, by hand"),
        ('time,text\n09:44,"called ""on bypass"", as said"\n09:52,clamp on\n', '"on bypass", as said'),
        ('time,text\n09:44,a 5" tube\n09:52,clamp on\n', 'a 5" tube'),
    ],
)
def test_a_text_in_quotation_marks_may_hold_separators_quotes_and_line_ends(
    tmp_path: Path, text: str, words: str
) -> None:
    log = _read(_write(tmp_path, text))
    assert [note.text for note in log.notes][1:] == ["clamp on"]
    assert words in log.notes[0].text
