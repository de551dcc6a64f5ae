"""Doubtful units: eight planted mix-ups ask, artefacts do not, and nothing is converted unasked."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from afterclamp.io import bring_in
from afterclamp.io.doubt import LEVELS, doubt, judge
from afterclamp.io.errors import QuestionsOpen
from afterclamp.io.plan import look
from afterclamp.io.recording import Block, Segment
from afterclamp.io.terms import KINDS, convert, units_of
from recordings import even

RNG = np.random.default_rng(11)
T = np.arange(0, 300, 0.01)
ARTERIAL = 88 + 22 * np.sin(2 * np.pi * 1.2 * T) + RNG.normal(0, 1, len(T))
FLOW = np.where(np.arange(900) < 200, 0.0, 4.4 + 0.1 * np.sin(np.arange(900)))
TEMPERATURE = np.round(np.linspace(36.6, 24.0, 600), 1)
HAEMOGLOBIN = np.repeat([13.6, 9.4, 8.6, 8.9], 150)


def table(path: Path, header: str, values: np.ndarray) -> Path:
    rows = "".join(
        f"{8 + i // 3600:02d}:{i // 60 % 60:02d}:{i % 60:02d},{v:.4f}\n" for i, v in enumerate(values)
    )
    path.write_text(f"time,{header}\n{rows}")
    return path


# The four mix-ups both ways: what the column is called and holds, and what it should have been called.
# Factors: UCUM, mm[Hg] = 133.322 Pa; degree Fahrenheit by the freezing and boiling point of water.
PLANTED = [
    ("ABP mean [mmHg]", ARTERIAL[:60000:100] * 0.133322, "kPa"),
    ("ABP mean [kPa]", ARTERIAL[:60000:100], "mm[Hg]"),
    ("bladder temp [degC]", TEMPERATURE * 1.8 + 32, "[degF]"),
    ("bladder temp [degF]", TEMPERATURE, "Cel"),
    ("pump flow [L/min]", FLOW * 1000, "mL/min"),
    ("pump flow [mL/min]", FLOW, "L/min"),
    ("Hb [g/dL]", HAEMOGLOBIN * 10, "g/L"),
    ("Hb [g/L]", HAEMOGLOBIN, "g/dL"),
]


@pytest.mark.parametrize(("header", "values", "meant"), PLANTED)
def test_a_planted_mix_up_asks_with_values_before_and_after(
    tmp_path: Path, header: str, values: np.ndarray, meant: str
) -> None:
    path = table(tmp_path / "export.csv", header, values)
    with pytest.raises(QuestionsOpen) as caught:
        bring_in(path, tmp_path / "case")
    [question] = caught.value.questions
    assert question.id.startswith("unit:export/")
    assert "as written" in question.text
    assert f"if it is {meant}" in question.text
    assert question.proposal.startswith(f"take it as {meant};")
    assert not (tmp_path / "case").exists()


@pytest.mark.parametrize(("header", "values", "meant"), PLANTED)
def test_the_unit_as_written_is_kept_unless_the_proposal_is_accepted(
    tmp_path: Path, header: str, values: np.ndarray, meant: str
) -> None:
    path = table(tmp_path / "export.csv", header, values)
    written = header[header.index("[") + 1 : -1]
    with bring_in(path, tmp_path / "accepted", accept_proposals=True) as case:
        [channel] = case.channels
        assert channel.unit_recorded == meant
        assert channel.unit_as_written == written
        [edit] = case.log.standing("identity")
        assert edit.author == "bring-in"
        assert (edit.payload["unit"], edit.payload["unit_as_written"]) == (meant, written)
        assert edit.payload["why"] == "proposal accepted"
        first = KINDS[channel.kind].units[0]
        expected = convert(values[:5], meant, first)
        assert channel.read(-1, 4.5).values == pytest.approx(expected, rel=1e-4)
        assert channel.recorded_as.unit != meant  # the trace file says what the export said
    with bring_in(path, tmp_path / "kept", answers={"units": {case.channels[0].id: written}}) as case:
        assert case.channels[0].unit_recorded == case.channels[0].recorded_as.unit
        assert not case.log.standing("identity")


def test_the_sentence_gives_the_mean_as_written_and_as_it_would_be() -> None:
    # 12.1 kPa / 0.133322 kPa/mmHg = 90.76 mmHg
    found = judge(12.1 + np.linspace(-3, 3, 601), "arterial_pressure", "mm[Hg]")
    assert found is not None
    assert found.sentence == "mean 12.1 mm[Hg] as written; 90.8 mm[Hg] if it is kPa"


def _with(*pieces: tuple[float, float, float]) -> np.ndarray:
    """The arterial pressure with pieces of it, from and to as shares, replaced by a level with noise."""
    values = ARTERIAL.copy()
    for start, end, level in pieces:
        a, b = int(start * len(values)), int(end * len(values))
        values[a:b] = level + RNG.normal(0, 0.3, b - a)
    return values


@pytest.mark.parametrize(
    "values",
    [
        _with((0.0, 0.2, 300.0)),  # flush
        _with((0.0, 0.6, 0.0)),  # open to air for most of it
        _with((0.0, 0.7, -25.0)),  # off
        _with((0.1, 0.7, 14.0)),  # an arrest for most of it
        np.where(np.arange(len(T)) < 20000, 0.0, ARTERIAL),  # zero as such
        np.where(np.arange(len(T)) < 20000, -32.0, ARTERIAL),  # the end of the scale
        RNG.normal(0, 1, 30000),  # never connected
        np.full(30000, 350.0),  # clipped throughout
    ],
    ids=["flush", "air", "off", "arrest", "zero", "end of scale", "never on", "clipped"],
)
def test_artefacts_raise_no_doubt(values: np.ndarray) -> None:
    assert judge(values, "arterial_pressure", "mm[Hg]") is None


def test_a_drained_heart_and_a_pump_at_rest_raise_no_doubt() -> None:
    central = np.concatenate([8 + 3 * np.sin(T[:6000]), RNG.normal(0.5, 0.5, 24000)])
    assert judge(central, "central_venous_pressure", "mm[Hg]") is None
    assert judge(np.full(900, 0.02) + RNG.normal(0, 0.01, 900), "pump_flow", "L/min") is None
    assert judge(np.zeros(900), "pump_flow", "mL/min") is None


def test_where_two_units_fit_nothing_is_proposed() -> None:
    # 8 mmHg and 8 cmH2O (5.9 mmHg) are both a central venous pressure; 8.4 is haemoglobin in g/dL and mmol/L.
    central = judge(8 + 3 * np.sin(T), "central_venous_pressure", "kPa")
    assert central is not None
    assert central.fitting == ("mm[Hg]", "cm[H2O]")
    assert central.proposal == ""
    haemoglobin = judge(np.array([8.4, 8.6, 8.2, 9.0]), "haemoglobin", "")
    assert haemoglobin is not None
    assert haemoglobin.proposal == ""


def test_a_flat_low_pressure_may_be_an_arrest_and_nothing_is_proposed() -> None:
    found = judge(RNG.normal(12, 0.5, 5000), "arterial_pressure", "mm[Hg]")
    assert found is not None
    assert found.proposal == ""


def test_scale_and_offset_of_every_segment_count() -> None:
    codes = np.concatenate([np.full(1000, 500), np.full(1000, 50)]).astype(np.int16)
    codes[::2] += np.tile([40, -40], 500).astype(np.int16)
    segments = [Segment(0.0, 0, 1000, 100.0, scale=0.2), Segment(10.0, 1000, 1000, 100.0, scale=2.0)]
    channel = even("ABP", codes, segments, block=700)
    assert doubt(channel, "arterial_pressure", "mm[Hg]") is None
    assert doubt(channel, "arterial_pressure", "kPa") is not None


def test_reading_ends_when_the_values_are_seen_to_fit() -> None:
    seen: list[int] = []
    channel = even("ABP", ARTERIAL.astype("f4"), [Segment(0.0, 0, len(T), 100.0)], block=1000)

    def counted() -> Iterator[Block]:
        for block in channel.blocks():
            seen.append(len(block.codes))
            yield block

    assert doubt(replace(channel, blocks=counted), "arterial_pressure", "mm[Hg]") is None
    assert len(seen) < 3


def test_every_level_is_in_the_range_of_its_kind_and_its_units_convert() -> None:
    for kind, level in LEVELS.items():
        low, high = KINDS[kind].plausible or (-np.inf, np.inf)
        assert low <= level.low < min(level.high, high)
        assert set(level.usual) <= set(units_of(kind))


def test_the_demo_asks_nothing(demo_exports: Path, tmp_path: Path) -> None:
    plan = look([demo_exports], tmp_path / "case")
    assert plan.questions == ()
    assert plan.decisions == ()


@pytest.mark.parametrize("folder", ["arterial_600s", "arterial_segments", "mixed_rates"])
def test_open_recordings_ask_nothing(real_traces: Path, tmp_path: Path, folder: str) -> None:
    assert look([real_traces / folder], tmp_path / "case").questions == ()
