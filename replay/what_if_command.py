"""``afterclamp what-if``: oxygen delivery with another flow or haemoglobin, by arithmetic only."""

from __future__ import annotations

from pathlib import Path

import click
from afterclamp.io.errors import CaseError

from .command_case import CASE, json_option, limits_option, opened_case, print_rows
from .command_options import limit_set


@click.command("what-if")
@CASE
@click.option("--flow", type=float, metavar="L/MIN", help="Pump flow on established bypass, L/min.")
@click.option("--haemoglobin", type=float, metavar="G/DL", help="Haemoglobin on established bypass, g/dL.")
@limits_option
@json_option
def what_if(
    case: Path, flow: float | None, haemoglobin: float | None, limits: str | None, as_json: bool
) -> None:
    """Compute oxygen delivery again with another flow or haemoglobin; arithmetic only.

    The value is replaced on established bypass without arrests. No patient's response is modelled, and nothing is
    kept in the case.
    """
    if flow is None and haemoglobin is None:
        raise click.UsageError("give --flow, --haemoglobin, or both")
    from afterclamp.annotate.derived import Absent
    from afterclamp.annotate.what_if_case import basis_of, replaced

    from .what_if_words import what_if_document, what_if_text

    with opened_case(case) as opened:
        basis = basis_of(opened, limit_set(limits))
        if isinstance(basis, Absent):
            raise CaseError(f"oxygen delivery cannot be computed: {basis.reason}", path=case)
        try:
            found = replaced(basis, flow_l_min=flow, haemoglobin_g_dl=haemoglobin)
        except ValueError as wrong:
            raise click.UsageError(str(wrong)) from wrong
        print_rows(what_if_document(found), as_json, lambda: what_if_text(basis, found))
