"""The order of the whole computation: a river folder and a request in, the plan out.

`planner.plan.compute` makes the plan and `planner.plan.single` one run; they import the whole chain, so ask for them
by name.
"""

from planner.plan.ask import Request, moment, request

__all__ = ["Request", "moment", "request"]
