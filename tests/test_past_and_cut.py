"""What a view up to a time says is what a case says whose recorders stopped at that time: nothing after it leaks in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import small_case
import test_site
from afterclamp.annotate.figures import figures
from afterclamp.annotate.finds import find
from afterclamp.annotate.phases import phases
from afterclamp.annotate.view import View
from afterclamp.io.case import Case
from hypothesis import example, given, settings
from hypothesis import strategies as st


@dataclass
class Pair:
    """A whole case, and what makes the same of exports that end earlier."""

    whole: Case
    cut: Callable[[int], Case]


def _small(folder: Path, until_s: int) -> Case:
    return Case.open(small_case.make(folder / f"small-{until_s}", until_s))


def _late(folder: Path, until_s: int) -> Case:
    return test_site.late_case(folder / f"late-{until_s}", until_s)


@pytest.fixture(scope="module", params=[_small, _late], ids=["bypass", "two lines"])
def pair(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Pair]:
    folder = tmp_path_factory.mktemp("cut")
    made: dict[int, Case] = {}
    length = small_case.LENGTH_S if request.param is _small else test_site.LENGTH_S

    def at(until_s: int) -> Case:
        if until_s not in made:
            made[until_s] = request.param(folder, until_s)
        return made[until_s]

    yield Pair(at(length), at)
    for case in made.values():
        case.close()


def said(case: Case) -> list[object]:
    """Everything that figures, finds and phases say, as text: NaN is NaN there, and seconds go to a millionth."""
    found, view = find(case), View.of(case)
    return [
        *(f"Figure {one.to_dict()}" for one in figures(case)),
        *(repr(one) for one in (*found, *found.held_back)),
        *found.not_looked_for,
        (found.site, found.site_reason),
        *(repr(one) for one in phases(case, view)),
    ]


# Within the opening to air, as it ends, on the way on bypass, at full flow, weaning, off; before the femoral line of
# the other case is in, as it comes in and when it is out; within a low pressure and after it.
@settings(max_examples=4, deadline=None)
@given(st.integers(10, 990))
@example(130)
@example(141)
@example(310)
@example(399)
@example(402)
@example(860)
@example(880)
def test_a_view_of_the_past_says_what_a_record_that_ends_there_says(pair: Pair, until_s: int) -> None:
    assert said(pair.whole.until(float(until_s))) == said(pair.cut(until_s))


def test_what_is_compared_is_not_nothing(pair: Pair) -> None:
    # The two cases say other things at other times: figures with a value, and in one of them finds.
    early, late = said(pair.whole.until(200.0)), said(pair.whole.until(950.0))
    assert early != late
    assert sum("'value': None" not in str(one) for one in late if str(one).startswith("Figure")) >= 2
