"""The commands, each a thin door to the package that answers."""

from planner.commands import day, desk, many, river, tackle

__all__ = ["day", "desk", "many", "river", "tackle"]
