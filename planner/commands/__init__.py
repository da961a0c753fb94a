"""The commands, each a thin door to the package that answers."""

from planner.commands import day, river, tackle

__all__ = ["day", "river", "tackle"]
