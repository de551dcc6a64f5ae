"""The case paper as one HTML file that needs nothing beside it: style inside, pictures as data.

The same content and the same pictures give the same bytes.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping

from jinja2 import Environment, PackageLoader, StrictUndefined

from .content import CaseContent, Picture


def to_html(content: CaseContent, pictures: Mapping[Picture, bytes]) -> str:
    """Render the content.

    Parameters
    ----------
    content : CaseContent
        What it says.
    pictures : mapping of Picture to bytes
        Each picture of the content as a PNG file.
    """
    environment = Environment(
        loader=PackageLoader("afterclamp.replay.paper", ""),
        autoescape=True,
        undefined=StrictUndefined,
        keep_trailing_newline=True,
    )
    images = {
        picture: "data:image/png;base64," + base64.b64encode(png).decode("ascii")
        for picture, png in pictures.items()
    }
    return environment.get_template("case_paper.html.jinja").render(content=content, images=images)
