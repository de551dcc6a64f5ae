"""What the payload of an edit must look like: everything else is set aside on reading and refused on writing."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from afterclamp.annotate.finds import find
from afterclamp.annotate.marks import marks, verdicts
from afterclamp.annotate.phases import phases
from afterclamp.annotate.rules import RULES
from afterclamp.io.case import Case
from afterclamp.io.errors import EditRefused
from afterclamp.io.log import VERBS, Log
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from small_case import make

MARK = {"id": "m1", "kind": "span", "start_s": 5.0, "end_s": 9.0}
PHASE = {"name": "clamp", "index": 0, "start_s": 5.0, "end_s": 9.0}
FIND = {"code": "E13", "key": "E13-1", "start_s": 5.0, "end_s": 9.0, "channels": ["femoral"]}


def write_lines(folder: Path, *edits: tuple[str, Any], author: str = "mara") -> None:
    """A log as another program might write it: chained as it should be, whatever the payloads hold."""
    prev, lines = "", []
    for n, (verb, payload) in enumerate(edits, start=1):
        fields = {
            "id": f"{author}-{n}",
            "n": n,
            "made": "2026-01-01T09:00:00",
            "author": author,
            "verb": verb,
        }
        line = json.dumps({**fields, "payload": payload, "supersedes": None, "prev": prev}).encode()
        prev = hashlib.sha256(line).hexdigest()
        lines.append(line)
    folder.mkdir(exist_ok=True)
    (folder / f"{author}.jsonl").write_bytes(b"\n".join(lines) + b"\n")


WITHOUT_MEANING = [
    ("phase", {}, "name is missing"),
    ("phase", {"name": "clamp"}, "start_s is missing"),
    ("phase", {**PHASE, "index": -1}, "index is -1"),
    ("phase", {**PHASE, "end_s": 1.0}, "ends at 1 s and begins at 5 s"),
    ("phase", {**PHASE, "start_s": "soon"}, "start_s is 'soon'"),
    ("phase", {**PHASE, "start_s": True}, "start_s is True"),
    ("phase", {**PHASE, "end_s": 1e300}, "at most a year away"),
    ("phase", {**PHASE, "sd_s": -1}, "sd_s is -1"),
    ("phase", {**PHASE, "end_sd_s": -1}, "end_sd_s is -1"),
    ("phase", {**PHASE, "start_by": 1}, "start_by is 1"),
    ("mark", {"text": "no time"}, "id is missing"),
    ("mark", {**MARK, "start_s": math.nan}, "no number"),
    ("mark", {**MARK, "confidence": 180}, "from 0 to 100"),
    ("mark", {**MARK, "channels": "femoral"}, "list of channel names"),
    ("mark", {**MARK, "anchor": {"source": "monitor"}}, "anchor"),
    ("mark", {**MARK, "text": "\ud800"}, "half a character"),
    ("limit", {"rule": "E13", "parameter": "below", "value": "abc"}, "value is 'abc'"),
    ("limit", {"rule": "E13", "value": 40}, "expected rule, parameter and value"),
    ("limit", {}, "names no limit"),
    ("clock", {"source": "pump"}, "pieces is missing"),
    ("clock", {"source": "pump", "pieces": []}, "clock pieces"),
    ("clock", {"source": "pump", "pieces": [{"offset_s": "abc"}]}, "clock pieces"),
    ("clock", {"source": "pump", "pieces": [{"offset_s": 1}, {"offset_s": 2}]}, "clock pieces"),
    ("reference", {"source": ""}, "source is ''"),
    ("identity", {"kind": "pump_flow"}, "channel is missing"),
    ("source", {"source": "pump", "in": "no"}, "true or false"),
    ("believe", {}, "site is missing"),
    ("believe", {"site": "femoral", "start_s": 5.0}, "start_s alone"),
    ("believe", {"site": "femoral", "end_s": 5.0}, "end_s alone"),
    ("believe", {"site": "femoral", "start_s": 5.0, "end_s": 5.0}, "begins and ends at 5 s"),
    ("believe", {"site": "femoral", "start_s": 9.0, "end_s": 5.0}, "ends at 5 s and begins at 9 s"),
    ("believe", {"site": "femoral", "start_s": "9", "end_s": 15.0}, "start_s is '9'"),
    ("believe", {"site": "femoral", "proposal": True}, "expected one of them"),
    ("believe", {"proposal": False}, "site is missing"),
    ("verdict", {"find": {}, "decision": "accepted"}, "of its find, start_s is missing"),
    ("verdict", {"find": FIND, "decision": "maybe"}, "'accepted', 'set aside', 'reclassified'"),
    ("undo", {}, "edit is missing"),
    ("fact", {"n": 10**400}, "too large"),
]


@pytest.mark.parametrize(("verb", "payload", "why"), WITHOUT_MEANING)
def test_an_edit_without_meaning_is_set_aside_with_its_place_and_why(
    tmp_path: Path, verb: str, payload: dict[str, Any], why: str
) -> None:
    write_lines(tmp_path, ("mark", MARK), (verb, payload), ("phase", PHASE))
    log = Log.open(tmp_path)
    assert [edit.verb for edit in log.edits] == ["mark", "phase"]
    (repair,) = log.repairs
    assert repair.startswith("mara.jsonl, line 2: ")
    assert why in repair
    assert repair.endswith("set aside")


@pytest.mark.parametrize(("verb", "payload", "why"), WITHOUT_MEANING)
def test_an_edit_without_meaning_is_never_written(
    tmp_path: Path, verb: str, payload: dict[str, Any], why: str
) -> None:
    with pytest.raises(EditRefused) as refused:
        Log.open(tmp_path).append("mara", verb, payload)
    assert why in refused.value.sentence or "JSON has no place" in refused.value.sentence
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("verb", "payload"),
    [
        ("mark", {**MARK, "channels": ["monitor/abp"], "confidence": None, "anchor": None, "removed": True}),
        ("phase", {"name": "clamp", "removed": True}),
        ("limit", {"oxygen": {"capacity": 1.36}}),
        ("limit", {"rule": "E13", "parameter": "below", "value": 40}),
        ("believe", {"site": "femoral"}),
        ("believe", {"site": "femoral", "start_s": 5.0, "end_s": 9.0}),
        ("believe", {"proposal": True, "start_s": 5.0, "end_s": 9.0}),
        ("believe", {"proposal": True}),
        ("verdict", {"find": FIND, "decision": "set aside"}),
        ("fact", {}),
        ("mask", {"anything": [1, None, {"a": "ü"}]}),
    ],
)
def test_what_this_program_writes_is_read_again_as_it_was(
    tmp_path: Path, verb: str, payload: dict[str, Any]
) -> None:
    written = Log.open(tmp_path).append("mara", verb, payload)
    again = Log.open(tmp_path)
    assert again.repairs == []
    assert again.edits == [written]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("verb", "dance"),
        ("verb", ["mark"]),
        ("id", 7),
        ("n", True),
        ("n", -4),
        ("supersedes", {}),
        ("payload", []),
    ],
)
def test_a_line_whose_frame_is_wrong_is_set_aside(tmp_path: Path, field: str, value: Any) -> None:
    write_lines(tmp_path, ("mark", MARK))
    path = tmp_path / "mara.jsonl"
    path.write_text(json.dumps({**json.loads(path.read_text()), field: value}) + "\n")
    log = Log.open(tmp_path)
    assert log.edits == []
    assert len(log.repairs) == 1


def test_an_undo_of_nothing_and_a_redo_out_of_turn_are_set_aside(tmp_path: Path) -> None:
    other = {**MARK, "id": "m2"}
    write_lines(
        tmp_path,
        ("mark", MARK),
        ("undo", {"edit": "nobody-1"}),
        ("redo", {"edit": "mara-1"}),
        ("undo", {"edit": "mara-1"}),
        ("undo", {"edit": "mara-1"}),
        ("mark", other),
        ("redo", {"edit": "mara-1"}),
    )
    log = Log.open(tmp_path)
    assert [edit.payload["id"] for edit in log.standing()] == ["m2"]
    assert len(log.repairs) == 4
    assert log.redo("mara") is None


def test_an_edit_that_was_set_aside_keeps_its_number(tmp_path: Path) -> None:
    write_lines(tmp_path, ("mark", MARK), ("dance", {}))
    made = Log.open(tmp_path).append("mara", "phase", PHASE)
    assert made.id == "mara-3"
    assert [edit.id for edit in Log.open(tmp_path)] == ["mara-1", "mara-3"]


# -- anything at all ----------------------------------------------------------------------------------

anything = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**6), 10**6)
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["femoral", "clamp", "monitor", "pump", "E13", "below", "accepted", "point", "bypass"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)
FIELDS = [
    "id",
    "kind",
    "start_s",
    "end_s",
    "code",
    "text",
    "channels",
    "confidence",
    "anchor",
    "removed",
    "name",
    "index",
    "sd_s",
    "source",
    "pieces",
    "method",
    "evidence",
    "channel",
    "site",
    "side",
    "statistic",
    "unit",
    "in",
    "trace_sha256",
    "set",
    "oxygen",
    "rule",
    "parameter",
    "value",
    "find",
    "decision",
    "edit",
    "run",
    "source_s",
    "source_end_s",
    "offset_s",
    "key",
]
times = st.floats(-1e7, 1e7) | st.integers(-10, 2000) | anything
near_misses = st.fixed_dictionaries(
    {},
    optional={
        **dict.fromkeys(FIELDS, anything),
        "id": st.text(min_size=1, max_size=3) | anything,
        "kind": st.sampled_from(["point", "span", "note"]) | anything,
        "name": st.sampled_from(["clamp", "bypass", "warming", "lower_body_arrest", "elsewhere"]) | anything,
        "start_s": times,
        "end_s": times,
        "source": st.sampled_from(["monitor", "pump", "nowhere"]) | anything,
        "channel": st.sampled_from(["monitor/fem", "pump/flow", "nowhere"]) | anything,
        "pieces": st.lists(st.fixed_dictionaries({"offset_s": times}), max_size=2) | anything,
        "rule": st.sampled_from(["E13", "E17", "A1", "E10", "no rule"]) | anything,
        "parameter": st.sampled_from(["below", "above", "for", "from"]) | anything,
        "value": st.floats(-1e6, 1e6) | anything,
        "decision": st.sampled_from(["accepted", "set aside"]) | anything,
        "find": st.fixed_dictionaries({"start_s": times, "end_s": times, "key": st.text(max_size=3)})
        | anything,
        "edit": st.sampled_from(["mara-1", "mara-2", "mara-3"]) | anything,
    },
)


seconds = st.floats(-100, 1500) | st.integers(-10, 1400) | st.floats(-1e7, 1e7)
two_times = st.tuples(seconds, seconds).map(lambda pair: {"start_s": min(pair), "end_s": max(pair)})


def with_times(fixed: dict[str, Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.tuples(st.fixed_dictionaries(fixed), two_times).map(lambda parts: {**parts[0], **parts[1]})


well_formed = st.one_of(
    with_times(
        {
            "id": st.text(min_size=1, max_size=3).filter(str.strip),
            "kind": st.sampled_from(["point", "span", "note"]),
            "channels": st.lists(st.sampled_from(["monitor/fem", "nowhere"]), max_size=2),
            "anchor": st.none()
            | st.fixed_dictionaries(
                {
                    "source": st.sampled_from(["pump", "nowhere"]),
                    "run": st.integers(0, 3),
                    "source_s": seconds,
                    "source_end_s": seconds,
                }
            ),
        }
    ).map(lambda payload: ("mark", payload)),
    with_times(
        {
            "name": st.sampled_from(["clamp", "bypass", "warming", "lower_body_arrest", "pre", "elsewhere"]),
            "index": st.integers(0, 3),
            "removed": st.booleans(),
        }
    ).map(lambda payload: ("phase", payload)),
    with_times({"key": st.text(max_size=3), "code": st.just("E13")}).map(
        lambda found: ("verdict", {"find": found, "decision": "accepted"})
    ),
    st.tuples(
        st.sampled_from([(rule.code, name) for rule in RULES for name in rule.parameters]),
        st.floats(-1e6, 1e6) | st.just(0),
    ).map(
        lambda parts: ("limit", {"rule": parts[0][0], "parameter": parts[0][1], "value": parts[1]}),
    ),
    st.tuples(st.sampled_from(["pump", "monitor"]), st.floats(-1e7, 1e7)).map(
        lambda parts: ("clock", {"source": parts[0], "pieces": [{"offset_s": parts[1]}]})
    ),
    st.sampled_from(
        [
            ("reference", {"source": "pump"}),
            ("reference", {"source": "nowhere"}),
            ("source", {"source": "pump", "in": False}),
            ("source", {"source": "monitor", "in": False}),
            ("identity", {"channel": "pump/flow", "kind": "blood"}),
            ("identity", {"channel": "monitor/fem", "kind": "pump_flow", "unit": "L/min"}),
            ("believe", {"site": "pump_flow"}),
            ("limit", {"oxygen": {"capacity": -1}}),
        ]
    ),
)
from_anywhere = st.tuples(st.sampled_from(sorted(VERBS)), near_misses | anything)


@pytest.fixture(scope="module", autouse=True)
def not_waiting_for_the_disk() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("os.fsync", lambda _: None)
        yield


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make(tmp_path_factory.mktemp("shapes") / "case")


@settings(max_examples=25, phases=[Phase.explicit, Phase.generate])
@given(st.lists(from_anywhere | well_formed, min_size=1, max_size=8))
def test_whatever_stands_in_a_log_the_case_opens_and_everything_runs(
    folder: Path, edits: list[tuple[str, Any]]
) -> None:
    write_lines(folder / "log", *edits)
    with Case.open(folder) as case:
        good = [edit for edit in case.log.edits if edit.author == "mara"]
        assert len(good) + len(case.log.repairs) == len(edits)
        phases(case)
        marks(case)
        found = find(case)
        verdicts(case, found)
        view = case.until(100.0)
        phases(view)
        marks(view)
        case.log.undo("mara")
        case.log.redo("mara")
        kept = len(case.log.edits)
    with Case.open(folder) as case:
        assert len(case.log.edits) == kept
    (folder / "log" / "mara.jsonl").unlink()
