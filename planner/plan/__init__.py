"""The order of the whole computation: a river folder and a request in, the plan out."""

from planner.plan.ask import Request, moment, request
from planner.plan.compute import FORMAT, compute_plan
from planner.plan.single import run_at

__all__ = ["FORMAT", "Request", "compute_plan", "moment", "request", "run_at"]
