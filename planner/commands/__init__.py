"""The commands, each a thin door to the package that answers."""

from planner.commands import day, many, river, tackle

__all__ = ["day", "many", "river", "tackle"]
