"""The whole search at one field, with the swims that it asks for on its way."""

from __future__ import annotations

from planner.advice.field import Field
from planner.advice.records import Settings
from planner.advice.search import Found, look, look_closely, name_variants
from planner.advice.tables import SwimTables
from planner.advice.ways import Way

__all__ = ["weigh_field"]


def weigh_field(field: Field, tables: SwimTables, ways: list[Way], settings: Settings) -> Found:
    """`look`, the swims of the trials, `name_variants`, the swims that these need, and `look_closely` at one field."""
    looked = look(field, tables, ways, settings)
    tables.require(looked.needs)
    tables.require(name_variants(field, tables, looked, settings))
    return look_closely(field, tables, looked, settings)
