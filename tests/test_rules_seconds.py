"""The evidence tells each second of a run once: used, masked, or not recorded."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from afterclamp.annotate import phases
from afterclamp.annotate.finds import find_in
from afterclamp.annotate.rules.rule import counted
from afterclamp.annotate.runs import evidence_runs
from afterclamp.annotate.view import View
from hypothesis import given
from hypothesis import strategies as st
from trend_case import demo_view

SECONDS = st.lists(
    st.tuples(
        st.booleans(),  # whether the condition holds
        *(st.sampled_from(["seen", "masked", "missing"]) for _ in range(2)),
    ),
    max_size=80,
)


@given(SECONDS, st.integers(0, 6), st.integers(0, 6))
def test_seconds_told_of_a_run_add_up_to_its_length(
    seconds: list[tuple[bool, str, str]], close: int, bridge: int
) -> None:
    names = ("femoral", "cvp")
    states = {name: np.array([one[k + 1] for one in seconds], "U7") for k, name in enumerate(names)}
    view = View(
        start=0.0,
        values={name: np.where(state == "seen", 60.0, np.nan) for name, state in states.items()},
        masked={name: state == "masked" for name, state in states.items()},
    )
    holds = np.array([one[0] for one in seconds], bool)
    either = (states["femoral"] == "seen") | (states["cvp"] == "seen")
    both = (states["femoral"] == "seen") & (states["cvp"] == "seen")
    for known in (either, both, states["femoral"] == "seen"):
        for run in evidence_runs(holds, known, minimum=1, close=close, bridge=bridge):
            told = counted(view, run, *names)
            assert sum(told.values()) == run.stop - run.start
            assert all(value >= 0 for value in told.values())
            assert told["used_s"] == int(known[run.start : run.stop].sum())


def test_seconds_of_every_find_of_an_event_add_up_where_artefacts_and_gaps_lie_in_it() -> None:
    view = gappy(demo_view())
    found = find_in(view.with_phases(phases.propose(view)))
    assert found.of("E17")
    for one in found.of("E17", "E18", "E13", "E16"):
        told = [one.evidence[key] for key in ("used_s", "masked_s", "unknown_s")]
        assert sum(told) == round(one.duration_s), (one.code, told)


def gappy(view: View) -> View:
    """The same view with some seconds of the flow masked and others missing, in the arrests too."""
    flow = view.values["pump_flow"].copy()
    masked = np.zeros(len(flow), bool)
    masked[131 * 60 + 100 : 131 * 60 + 104] = True
    flow[masked] = np.nan
    flow[131 * 60 + 200 : 131 * 60 + 271] = np.nan
    return replace(
        view, values={**view.values, "pump_flow": flow}, masked={**view.masked, "pump_flow": masked}
    )
