"""Measures: pure functions on arrays, one family a module, each with its reference."""

from .body import (
    BODY_SURFACE_AREA_FORMULAS,
    body_surface_area_boyd,
    body_surface_area_du_bois,
    body_surface_area_gehan_george,
    body_surface_area_haycock,
    body_surface_area_mosteller,
)
from .exposure import Exposure, area_outside, exposure
from .flow import flow_per_weight, pump_flow_index
from .flush import FlushResponse, damping_from_half_cycles, fast_flush_response
from .oxygen import (
    OxygenConstants,
    arterial_oxygen_content,
    haemoglobin_age,
    oxygen_consumption_index,
    oxygen_content,
    oxygen_delivery_index,
    oxygen_extraction_ratio,
)
from .pressure import (
    WOOD_TO_DYN,
    map_from_cuff,
    map_rate_corrected,
    mean_arterial_pressure,
    pulmonary_vascular_resistance,
    systemic_vascular_resistance,
    systemic_vascular_resistance_index,
)

__all__ = [
    "BODY_SURFACE_AREA_FORMULAS",
    "WOOD_TO_DYN",
    "Exposure",
    "FlushResponse",
    "OxygenConstants",
    "area_outside",
    "arterial_oxygen_content",
    "body_surface_area_boyd",
    "body_surface_area_du_bois",
    "body_surface_area_gehan_george",
    "body_surface_area_haycock",
    "body_surface_area_mosteller",
    "damping_from_half_cycles",
    "exposure",
    "fast_flush_response",
    "flow_per_weight",
    "haemoglobin_age",
    "map_from_cuff",
    "map_rate_corrected",
    "mean_arterial_pressure",
    "oxygen_consumption_index",
    "oxygen_content",
    "oxygen_delivery_index",
    "oxygen_extraction_ratio",
    "pulmonary_vascular_resistance",
    "pump_flow_index",
    "systemic_vascular_resistance",
    "systemic_vascular_resistance_index",
]
