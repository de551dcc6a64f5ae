"""A limit set of a unit's own, as a file that a person wrote."""

from __future__ import annotations

OURS = """
name = "ours"
version = "3"

[[limit]]
id = "map-60"
measure = "mean_arterial_pressure"
phase = "established"
below = 60
unit = "mm[Hg]"
status = "U"
source = "our unit"
"""
