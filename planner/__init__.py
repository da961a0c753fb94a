"""Plumbrun: a trip planner for river anglers who fish sinking lines.

Importing the package loads nothing heavy; import the module that answers your question, for example
``planner.sink`` for where line and fly go, ``planner.flow`` for depth and current in a run.
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
