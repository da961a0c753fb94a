"""Many rivers at once: each gauge read once, each river planned by a process of its own, one page over all of them."""

from planner.fleet.jobs import Order, Outcome
from planner.fleet.run import Fleet, listed_folders, run_fleet
from planner.fleet.write import write_fleet

__all__ = ["Fleet", "Order", "Outcome", "listed_folders", "run_fleet", "write_fleet"]
