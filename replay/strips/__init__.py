"""Strips: traces over time, painted from the levels by our own code.

`layout.strips_of` says which channels share a strip, `painter.paint_strips` paints them on anything, and
`view.StripsView` is the widget.
"""
