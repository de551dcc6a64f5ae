"""The command that opens the arithmetic "what if"."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .desk import Desk


class WhatIfActions:
    """Oxygen delivery with another flow or haemoglobin."""

    _desk: Desk

    def show_what_if(self) -> None:
        """Ask for a flow or a haemoglobin and show what it alone would make of the oxygen delivery."""
        case = self._desk.session.case
        if case is None:
            return
        from afterclamp.annotate.what_if_case import basis_of

        from .panes.what_if_box import WhatIfBox

        self._desk.open_box(WhatIfBox(basis_of(case), self._desk))
