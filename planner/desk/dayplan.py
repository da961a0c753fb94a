"""The plan of the whole day, made behind the scenes; one at a time, a newer wish takes the place of an older one."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.desk.live import Live
from planner.desk.reply import error_body
from planner.errors import PlumbrunError
from planner.plan.ask import Request

if TYPE_CHECKING:
    from planner.river import River

__all__ = ["DayPlan"]

Wish = tuple["River", Request, str]


class DayPlan:
    """Plans the wish that came last.

    Parameters
    ----------
    live : Live
        Its gauges, runs and swims are used, and it learns the hours of the spots.
    folder : callable
        Gives the river folder; the plan is written to ``plans/DAY`` in it, as the command does.
    """

    def __init__(self, live: Live, folder: Callable[[], Path]) -> None:
        self._live, self._folder = live, folder
        self._lock = threading.Lock()
        self._wish: Wish | None = None
        self._busy = False
        self._shown: dict[str, Any] = {"state": "none", "plan": None, "page": None, "error": None, "version": None}
        self._page: Path | None = None

    def start(self, river: River, request: Request, version: str) -> dict[str, Any]:
        """Ask for a plan; what was asked before and has not begun is let go."""
        with self._lock:
            self._wish = (river, request, version)
            self._shown = {**self._shown, "state": "running", "error": None}
            if not self._busy:
                self._busy = True
                threading.Thread(target=self._work, name="desk-day", daemon=True).start()
        return self.state(False)

    def state(self, with_plan: bool = True) -> dict[str, Any]:
        """``state`` (none, running, done, failed), the last ``plan`` with its ``version``, ``page``, ``error``."""
        with self._lock:
            return dict(self._shown) if with_plan else {**self._shown, "plan": None}

    def page(self) -> bytes | None:
        """The written page of the last plan; None when there is none."""
        with self._lock:
            page = self._page
        return page.read_bytes() if page is not None and page.is_file() else None

    def _work(self) -> None:
        while True:
            with self._lock:
                wish, self._wish = self._wish, None
                if wish is None:
                    self._busy = False
                    return
            page = self._page
            try:
                plan, page = self._make(*wish)
                done: dict[str, Any] = {"state": "done", "plan": plan, "page": "/plan.html", "error": None,
                                        "version": wish[2], "written": page.parent.name}  # fmt: skip
            except PlumbrunError as error:
                done = {"state": "failed", "error": error_body(error)}
            except Exception as error:  # the thread must say so, or the page would wait for ever
                logging.getLogger(__name__).exception("the plan failed")
                given = f"a mistake in the program itself ({type(error).__name__})"
                body = {"given": given, "need": "a report of it", "next_step": "try another day or level", "where": ""}
                done = {"state": "failed", "error": body}
            with self._lock:
                self._page = page
                state = "running" if self._wish is not None else done["state"]
                self._shown = {**self._shown, **done, "state": state}

    def _make(self, river: River, request: Request, version: str) -> tuple[dict[str, Any], Path]:
        from planner.evening import keep_plan
        from planner.files import plain
        from planner.plan.compute import plan_of
        from planner.plan.day import day_of

        found = day_of(river, request, river.units, partial(self._live.waters.all, river))
        plan = plain(plan_of(found, river, request, river.units))
        written = keep_plan(plan, river, river.units, self._folder() / "plans" / request.day.isoformat())
        self._live.note_plan(plan, found)
        return plan, written.page
