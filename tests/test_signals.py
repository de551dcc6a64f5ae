"""A recording that goes on in another file is one signal; two lines of one name in the same seconds are two."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.derived import Absent, Derived
from afterclamp.annotate.figures import Figure, figures
from afterclamp.annotate.limits import LimitSet
from afterclamp.annotate.named import signal_called, signals
from afterclamp.annotate.series import MASKED, MISSING, OBSERVED, Series, from_values, joined
from afterclamp.annotate.site import believed_site
from afterclamp.annotate.view import View
from afterclamp.io.case import Case
from afterclamp.io.errors import NoSuchChannel
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.io.terms import Identity
from hypothesis import given
from hypothesis import strategies as st
from recordings import START, case_of, even, recording

SITES = {
    "rad": Identity("arterial_pressure", "radial", "left", "wave"),
    "cvp": Identity("central_venous_pressure", statistic="wave"),
    "flow": Identity("pump_flow"),
    "abp": Identity("arterial_pressure", "", "", "wave"),
}
RATE = 50.0
# A beat is a half sine of 40 mmHg over three tenths of it, on a floor: its mean lies 40 * 0.3 * 2 / pi above.
MEAN_ABOVE = 40 * 0.3 * 2 / np.pi


def wave(label: str, floor: float, seconds: float = 120.0) -> RecordedChannel:
    t = np.arange(int(seconds * RATE)) / RATE
    beat = np.where((t * 1.25) % 1 < 0.3, np.sin(np.pi * ((t * 1.25) % 1) / 0.3), 0.0)
    codes = np.round((floor + 40 * beat) * 10).astype("i2")
    return even(label, codes, [Segment(0.0, 0, len(codes), RATE, 0.1)])


def rows(label: str, values: Sequence[float]) -> RecordedChannel:
    return even(label, np.array(values, "f4"), [Segment(0.0, 0, len(values), 1.0)], unit="L/min")


def open_case(folder: Path, *sources: tuple[str, list[RecordedChannel], float]) -> Case:
    made = [
        recording(name, channels, first_stamp=START + timedelta(seconds=at)) for name, channels, at in sources
    ]
    return case_of(folder / "case", *made, identities=SITES)


def below_65(found: list[Figure]) -> Figure:
    [one] = [one for one in found if one.limit_id == "map-65-off-bypass"]
    return one


@pytest.fixture
def in_two_files(tmp_path: Path) -> Case:
    first, second = [wave("rad", 72), wave("cvp", 5)], [wave("rad", 52), wave("cvp", 5)]
    return open_case(tmp_path, ("first", first, 0), ("second", second, 150))


@pytest.mark.parametrize("believe", [None, "left_radial", "left radial", "second/rad"])
def test_figures_go_by_every_file_of_a_line(in_two_files: Case, believe: str | None) -> None:
    with in_two_files as case:
        found = below_65(figures(case, believe=believe))
    assert found.site == "left_radial"
    assert found.observed_s == pytest.approx(240, abs=3)
    assert found.missing_s == pytest.approx(30, abs=3)
    assert found.outside_s == pytest.approx(120, abs=2)  # the second file alone is below
    assert found.area == pytest.approx(2 * (65 - 52 - MEAN_ABOVE), rel=0.03)
    assert "joined from first/rad and second/rad" in found.note


def test_each_line_has_one_mean_over_all_its_files(in_two_files: Case) -> None:
    with in_two_files as case:
        means = {one.site: one for one in figures(case) if one.measure == "mean_pressure"}
    assert set(means) == {"left_radial", "cvp"}
    assert means["left_radial"].value == pytest.approx(62 + MEAN_ABOVE, abs=0.3)
    assert means["cvp"].observed_s == pytest.approx(240, abs=3)


def test_venous_pressure_and_pump_flow_go_on_in_a_second_file(tmp_path: Path) -> None:
    first = [wave("cvp", 5), rows("flow", [4.4] * 120)]
    second = [wave("cvp", 5), rows("flow", [2.2] * 120)]
    with open_case(tmp_path, ("first", first, 0), ("second", second, 150)) as case:
        derived = Derived(case)
    assert isinstance(derived.central_venous_pressure, Series)
    assert isinstance(derived.pump_flow, Series)
    assert np.isfinite(derived.central_venous_pressure.values[[60, 210]]).all()
    assert derived.pump_flow.values[[60, 210]].tolist() == pytest.approx([4.4, 2.2])
    assert derived.central_venous_pressure.state[135] == MISSING


def test_where_two_files_overlap_a_little_the_earlier_is_used_and_it_is_said(tmp_path: Path) -> None:
    sources = ("first", [wave("rad", 72)], 0), ("second", [wave("rad", 52)], 115)
    with open_case(tmp_path, *sources) as case:
        pressure, view = Derived(case).mean_arterial_pressure, View.of(case)
    assert isinstance(pressure, Series)
    assert pressure.values[117] == pytest.approx(72 + MEAN_ABOVE, abs=1.5)
    assert view.values["left_radial"][117] == pytest.approx(pressure.values[117])
    assert pressure.values[125] == pytest.approx(52 + MEAN_ABOVE, abs=1.5)
    assert "of 5 s that were recorded twice the earlier recording is used" in pressure.note


@pytest.fixture
def two_lines(tmp_path: Path) -> Case:
    return open_case(tmp_path, ("first", [wave("rad", 72)], 0), ("second", [wave("rad", 52)], 30))


def test_of_two_lines_of_one_site_the_other_is_named(two_lines: Case) -> None:
    with two_lines as case:
        site, reason = believed_site(case)
        found = figures(case)
        view = View.of(case)
    assert site is not None
    assert site.id == "first/rad"
    assert reason.startswith("left radial (first): ")
    assert "left radial (second) is another line of the same site and is not used" in reason
    assert view.believed_reason == reason
    means = [one.site for one in found if one.measure == "mean_pressure"]
    assert means == ["left_radial (first)", "left_radial (second)"]
    judged = below_65(found)
    assert judged.site == "left_radial (first)"
    assert "also recorded and not used: left radial (second)" in judged.note
    assert "with left radial (second) believed" in judged.note


def test_a_name_that_two_lines_have_must_be_told_apart(two_lines: Case) -> None:
    with two_lines as case:
        with pytest.raises(NoSuchChannel, match=r"several.*first/rad.*second/rad"):
            figures(case, believe="left_radial")
        assert below_65(figures(case, believe="second/rad")).outside_s == pytest.approx(120, abs=2)
        view = View.of(case, "second/rad")  # under the name that rules ask for
        assert (view.believed, view.arterial) == ("left_radial", ("left_radial",))
        assert view.values["left_radial"][60] == pytest.approx(52 + MEAN_ABOVE, abs=1.5)
        assert view.values["first/rad"][60] == pytest.approx(72 + MEAN_ABOVE, abs=1.5)
        assert signal_called(case, "left radial (second)").first.id == "second/rad"
        case.edit("mara", "believe", {"site": "second/rad"})
        assert believed_site(case)[1].startswith("left radial (second): chosen by mara; left radial (first)")


def test_lines_of_one_source_are_told_by_their_id(tmp_path: Path) -> None:
    lines = [wave("rad", 72), wave("rad 2", 52)]
    sites = {**SITES, "rad_2": SITES["rad"]}
    with case_of(tmp_path / "case", recording("one", lines), identities=sites) as case:
        assert [one.token for one in signals(case).values()] == [
            "left_radial (one/rad)",
            "left_radial (one/rad_2)",
        ]


def test_lines_without_a_site_are_joined_only_under_one_label(tmp_path: Path) -> None:
    other = {**SITES, "art": SITES["abp"]}
    for labels, count in ((("abp", "abp"), 1), (("abp", "art"), 2)):
        made = [
            recording(name, [wave(label, 72)], first_stamp=START + timedelta(seconds=at))
            for name, label, at in zip(("first", "second"), labels, (0, 150), strict=True)
        ]
        with case_of(tmp_path / "-".join(labels), *made, identities=other) as case:
            assert len(signals(case)) == count


def test_a_flow_recorded_twice_is_no_missing_flow(tmp_path: Path) -> None:
    sources = ("pump", [rows("flow", [4.4] * 120)], 0), ("spare", [rows("flow", [4.0] * 120)], 0)
    with open_case(tmp_path, *sources) as case:
        flow = Derived(case).pump_flow
    assert not isinstance(flow, Absent)
    assert flow.site == "pump_flow (pump)"
    assert "also recorded and not used: pump flow (spare)" in flow.note


def test_each_part_of_a_joined_line_has_the_doubt_of_its_own_clock(in_two_files: Case) -> None:
    with in_two_files as case:
        reference = next(one.name for one in case.sources if one.is_reference)
        other = next(one.name for one in case.sources if not one.is_reference)
        case.edit("mara", "clock", {"source": other, "pieces": [{"offset_s": 0.0, "sd_s": 4.0}]})
        view = View.of(case)
    inside = {"first": 60.0, "second": 210.0}
    sds = {name: view.clock_at(view.source["left_radial"], at).sd_s for name, at in inside.items()}
    assert sds == {reference: 0.0, other: 4.0}
    assert view.sd_between("left_radial", 60.0, "left_radial", 210.0) == 4.0
    assert view.sd_between("left_radial", 190.0, "cvp", 210.0) == 0.0
    assert view.sd_between("left_radial", 60.0, "cvp", 70.0) == 0.0


def test_sources_whose_clocks_are_not_set_make_a_figure_uncertain(in_two_files: Case) -> None:
    with in_two_files as case:
        unset = {one.name for one in case.sources if one.clock.method == "unset"}
        found = below_65(figures(case))
        assert len(unset) == 1
        assert f"± unknown, the clock of {unset.pop()} not set" in found.note
        own = LimitSet.load("practice")
        assert all("± unknown" not in one.note for one in figures(case, limits=own) if one.value is None)


states = st.lists(st.sampled_from([OBSERVED, MASKED, MISSING]), min_size=8, max_size=8)


@given(st.lists(states, min_size=1, max_size=4))
def test_a_joined_second_is_the_first_that_was_recorded(parts: list[list[int]]) -> None:
    series = [
        Series(0.0, np.where(np.array(part) == OBSERVED, float(i), np.nan), np.array(part, np.uint8))
        for i, part in enumerate(parts)
    ]
    found = joined(series)
    for second in range(8):
        here = [(one.state[second], i) for i, one in enumerate(series) if one.state[second] != MISSING]
        assert found.state[second] == (here[0][0] if here else MISSING)
        if found.state[second] == OBSERVED:
            assert found.values[second] == here[0][1]
        else:
            assert np.isnan(found.values[second])


def test_one_recording_stays_as_it_is() -> None:
    one = from_values(0.0, np.arange(3.0), note="as it is")
    assert joined([one], "joined from nothing") is one


# -- open recordings -------------------------------------------------------------------------------


def decoded(folder: Path, name: str, gain: float, baseline: float) -> np.ndarray:
    """The third of three interleaved signals in format 80 (a byte a sample, 128 for 0), as the header says."""
    codes = np.fromfile(folder / f"{name}.dat", np.uint8).reshape(-1, 3)[:, 2].astype(float) - 128
    return (codes - baseline) / gain


def test_a_real_line_in_two_files_gives_the_pressure_that_lies_in_its_bytes(
    real_traces: Path, tmp_path: Path
) -> None:
    from afterclamp.io import bring_in

    folder = real_traces / "arterial_segments"
    with bring_in([folder], tmp_path / "case", accept_proposals=True, keep_identity=True) as case:
        for channel in [one for one in case.channels if one.kind == "arterial_pressure"]:
            case.change_channel("mara", channel.id, site="radial", side="left")
        found = below_65(figures(case, believe="left_radial"))
        pressure = Derived(case, "left_radial").mean_arterial_pressure
    # 4425 and 18075 samples at 125 Hz: 35.4 s and 144.6 s, one directly after the other.
    samples = np.concatenate(
        [
            decoded(folder, "3975656_0012", 1.0, 0.0),
            decoded(folder, "3975656_0013", 0.8333333, -100.0),
        ]
    )
    means = samples.reshape(-1, 125).mean(axis=1)
    assert isinstance(pressure, Series)
    quiet = slice(62, 165)  # no flush, no tap turned: 79 to 110 mmHg
    assert (pressure.state[quiet] == OBSERVED).all()
    assert pressure.values[quiet] == pytest.approx(means[quiet], abs=6)
    assert pressure.values[quiet].mean() == pytest.approx(means[quiet].mean(), abs=0.5)
    seen = pressure.state[:180] == OBSERVED
    assert found.observed_s == pytest.approx(seen.sum(), abs=1)
    assert found.outside_s == pytest.approx((means[seen] < 65).sum(), abs=4)
    assert found.observed_s + found.masked_s + found.missing_s == pytest.approx(181, abs=1)
