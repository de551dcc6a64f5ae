"""Words for what was seen where a line alone lost its pulse: blood sample, kink or wedge, cuff."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

KEYS: Final = (
    *("movement_before_mmhg", "movement_left_mmhg", "ripple_hz", "drift_mmhg", "flush_s", "others_kept"),
    *("fell_s", "flat_s", "return_s", "came_back", "cuff_value_s", "every_s", "saturation_fall"),
    *("top_mmhg", "run_up_mmhg"),
)
"""Keys of the evidence that have words here."""


def of_lost_pulse(seen: Mapping[str, Any], name: Callable[[str], str]) -> Iterator[tuple[str, str]]:
    """Label and text of each fact; nothing where the find is another."""
    if "movement_before_mmhg" in seen:
        at = f", at {seen['ripple_hz']:g} a second" if "ripple_hz" in seen else ""
        what = "Ripple" if "ripple_hz" in seen else "Pulse or ripple"
        yield (
            what,
            f"{seen['movement_before_mmhg']:g} mmHg before{at}, {seen['movement_left_mmhg']:g} mmHg meanwhile",
        )
    if "run_up_mmhg" in seen:
        yield "Rise without a beat", f"{seen['run_up_mmhg']:g} mmHg, to {seen['top_mmhg']:g} mmHg"
    if "drift_mmhg" in seen:
        yield "Its mean drifted", f"by {seen['drift_mmhg']:g} mmHg"
    if "flush_s" in seen:
        yield "Flush at the end", f"{seen['flush_s']:g} s"
    if "fell_s" in seen:
        yield (
            "Shape",
            f"fell within {seen['fell_s']:g} s, flat for {seen['flat_s']:g} s, back within {seen['return_s']:g} s",
        )
    if seen.get("came_back") is False:
        yield "Its end", "not seen: nothing was recorded after it"
    if "others_kept" in seen:
        kept = str(seen["others_kept"])
        names = ", ".join(name(one) for one in kept.split(", "))
        yield "Kept their pulse or ripple", "no other line that can tell" if kept == "none" else names
    if "cuff_value_s" in seen:
        yield "Cuff value", f"{seen['cuff_value_s']:g} s after it"
    if "every_s" in seen:
        yield "Comes back every", f"{seen['every_s']:g} s"
    if "saturation_fall" in seen:
        fall = seen["saturation_fall"]
        yield (
            "Cerebral saturation of that side",
            f"{abs(fall):.1f} points {'lower' if fall > 0 else 'higher'} after it",
        )
