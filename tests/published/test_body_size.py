"""Body surface area against worked values of the published formulas."""

import pytest
from afterclamp.annotate.measures import (
    body_surface_area_boyd,
    body_surface_area_du_bois,
    body_surface_area_gehan_george,
    body_surface_area_haycock,
    body_surface_area_mosteller,
)

FORMULAS = (
    body_surface_area_du_bois,
    body_surface_area_mosteller,
    body_surface_area_haycock,
    body_surface_area_gehan_george,
    body_surface_area_boyd,
)

# Recomputed in double precision from the formulas as printed: Du Bois, Arch Intern Med 1916;17:863;
# Mosteller, N Engl J Med 1987;317:1098; Haycock, J Pediatr 1978;93:62; Gehan and George, Cancer Chemother
# Rep 1970;54:225; Boyd 1935 (grams, logarithm to base 10).
WORKED = {
    (170, 70): (1.8097, 1.8181, 1.8257, 1.8313, 1.8347),
    (180, 80): (1.9964, 2.0000, 2.0066, 2.0095, 2.0074),
    (160, 50): (1.5011, 1.4907, 1.4873, 1.5012, 1.4977),
    (175, 120): (2.3239, 2.4152, 2.4678, 2.4464, 2.4785),
    (110, 18): (0.7411, 0.7416, 0.7401, 0.7575, 0.7552),
    (50, 3.5): (0.2086, 0.2205, 0.2244, 0.2338, 0.2299),
}


@pytest.mark.parametrize(("size", "expected"), WORKED.items())
@pytest.mark.parametrize("column", range(5))
def test_each_formula_gives_the_worked_value_to_four_decimals(size, expected, column):
    assert FORMULAS[column](*size) == pytest.approx(expected[column], abs=0.5e-4)


def test_mosteller_agrees_with_the_printed_example():
    # 170 cm and 70 kg give 1.818 in pages that quote Mosteller, N Engl J Med 1987;317:1098.
    assert body_surface_area_mosteller(170, 70) == pytest.approx(1.818, abs=5e-4)


def test_du_bois_agrees_with_its_metre_form():
    # 0.20247 · h(m)^0.725 · w^0.425, the same law of Du Bois in metres, to four figures.
    assert body_surface_area_du_bois(170, 70) == pytest.approx(0.20247 * 1.7**0.725 * 70**0.425, rel=1e-4)


def test_haycock_does_not_give_the_value_of_a_wrongly_printed_example():
    # An example in print says "about 0.78" for 110 cm and 18 kg; Haycock's own formula gives 0.740.
    assert body_surface_area_haycock(110, 18) == pytest.approx(0.7401, abs=1e-4)
    assert abs(body_surface_area_haycock(110, 18) - 0.78) > 0.03


@pytest.mark.parametrize("formula", FORMULAS)
@pytest.mark.parametrize("size", [(0, 70), (170, 0), (-170, 70), (1.7, float("nan"))])
def test_a_size_that_cannot_be_is_refused(formula, size):
    with pytest.raises(ValueError, match="height in cm"):
        formula(*size)
