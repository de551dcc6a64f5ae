"""Body surface area by five published formulas.

They differ by as much as 0.5 m² for one adult physique (Redlarski, Palkowski, Krawczuk, Sci Rep
2016;6:27966), so whatever uses one says which.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from types import MappingProxyType


def _check(height_cm: float, weight_kg: float) -> None:
    if not (0 < height_cm < 300 and 0 < weight_kg < 700):
        raise ValueError(
            f"body size needs a height in cm and a weight in kg, got {height_cm:g} cm and {weight_kg:g} kg"
        )


def body_surface_area_du_bois(height_cm: float, weight_kg: float) -> float:
    """Body surface area in m² after Du Bois and Du Bois.

    0.007184 · h^0.725 · w^0.425 with h in cm and w in kg. Reads up to 20 % low in obesity
    (Livingston and Lee, Am J Physiol Endocrinol Metab 2001;281:E586).

    Parameters
    ----------
    height_cm, weight_kg : float
        cm and kg; neither may be missing: NaN is refused like a size that nobody has.

    Raises
    ------
    ValueError
        If a size cannot be one of a person (0 to 300 cm, 0 to 700 kg: engineering guards).

    References
    ----------
    Du Bois D, Du Bois EF. Arch Intern Med 1916;17:863-71.

    Examples
    --------
    >>> round(body_surface_area_du_bois(170, 70), 4)
    1.8097
    """
    _check(height_cm, weight_kg)
    return float(0.007184 * height_cm**0.725 * weight_kg**0.425)


def body_surface_area_mosteller(height_cm: float, weight_kg: float) -> float:
    """Body surface area in m² after Mosteller: √(h·w/3600), h in cm, w in kg.

    Parameters
    ----------
    height_cm, weight_kg : float
        cm and kg; neither may be missing: NaN is refused like a size that nobody has.

    Raises
    ------
    ValueError
        If a size cannot be one of a person (0 to 300 cm, 0 to 700 kg: engineering guards).

    References
    ----------
    Mosteller RD. N Engl J Med 1987;317:1098.

    Examples
    --------
    >>> round(body_surface_area_mosteller(170, 70), 4)
    1.8181
    """
    _check(height_cm, weight_kg)
    return math.sqrt(height_cm * weight_kg / 3600)


def body_surface_area_haycock(height_cm: float, weight_kg: float) -> float:
    """Body surface area in m² after Haycock: 0.024265 · h^0.3964 · w^0.5378, h in cm, w in kg.

    Parameters
    ----------
    height_cm, weight_kg : float
        cm and kg; neither may be missing: NaN is refused like a size that nobody has.

    Raises
    ------
    ValueError
        If a size cannot be one of a person (0 to 300 cm, 0 to 700 kg: engineering guards).

    References
    ----------
    Haycock GB, Schwartz GJ, Wisotsky DH. J Pediatr 1978;93:62-6.

    Examples
    --------
    >>> round(body_surface_area_haycock(170, 70), 4)
    1.8257
    """
    _check(height_cm, weight_kg)
    return float(0.024265 * height_cm**0.3964 * weight_kg**0.5378)


def body_surface_area_gehan_george(height_cm: float, weight_kg: float) -> float:
    """Body surface area in m² after Gehan and George: 0.0235 · h^0.42246 · w^0.51456, h in cm, w in kg.

    Parameters
    ----------
    height_cm, weight_kg : float
        cm and kg; neither may be missing: NaN is refused like a size that nobody has.

    Raises
    ------
    ValueError
        If a size cannot be one of a person (0 to 300 cm, 0 to 700 kg: engineering guards).

    References
    ----------
    Gehan EA, George SL. Cancer Chemother Rep 1970;54:225-35.

    Examples
    --------
    >>> round(body_surface_area_gehan_george(170, 70), 4)
    1.8313
    """
    _check(height_cm, weight_kg)
    return float(0.0235 * height_cm**0.42246 * weight_kg**0.51456)


def body_surface_area_boyd(height_cm: float, weight_kg: float) -> float:
    """Body surface area in m² after Boyd: 0.0003207 · h^0.3 · g^(0.7285 − 0.0188·log10 g).

    The height is in cm; the formula's own weight is in grams, the argument here in kg.

    Parameters
    ----------
    height_cm, weight_kg : float
        cm and kg; neither may be missing: NaN is refused like a size that nobody has.

    Raises
    ------
    ValueError
        If a size cannot be one of a person (0 to 300 cm, 0 to 700 kg: engineering guards).

    References
    ----------
    Boyd E. The growth of the surface area of the human body. University of Minnesota Press, 1935.

    Examples
    --------
    >>> round(body_surface_area_boyd(170, 70), 4)
    1.8347
    """
    _check(height_cm, weight_kg)
    grams = weight_kg * 1000
    return float(0.0003207 * height_cm**0.3 * grams ** (0.7285 - 0.0188 * math.log10(grams)))


BODY_SURFACE_AREA_FORMULAS: MappingProxyType[str, Callable[[float, float], float]] = MappingProxyType(
    {
        "Du Bois": body_surface_area_du_bois,
        "Mosteller": body_surface_area_mosteller,
        "Haycock": body_surface_area_haycock,
        "Gehan-George": body_surface_area_gehan_george,
        "Boyd": body_surface_area_boyd,
    }
)
