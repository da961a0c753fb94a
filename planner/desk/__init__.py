"""The desk: a local web page on which a river folder is drawn, sounded and planned."""

from planner.desk.guard import Guard

__all__ = ["Guard"]
