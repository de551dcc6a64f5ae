"""Panes: one part of the desk each; they show what the session knows and pass on what is pressed."""
