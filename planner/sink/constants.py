"""The constants of the sink model, read once from `planner/tables/sink_constants.csv`."""

from __future__ import annotations

from functools import cache

from planner.tables import constants, rows

__all__ = ["constant", "material_density"]


def constant(name: str) -> float:
    """Value of a named constant in SI, with its source in the table's row.

    Examples
    --------
    >>> constant("water_density")
    999.5
    """
    return constants("sink_constants")[name]


@cache
def material_density(name: str) -> float:
    """Density of a leader or fly material [kg/m³].

    Examples
    --------
    >>> material_density("nylon")
    1140.0
    """
    for row in rows("tackle_materials"):
        if row["material"] == name:
            return float(row["density_kg_m3"])
    raise LookupError(f"no material {name!r} in tackle_materials.csv")
