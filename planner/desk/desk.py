"""One desk: the folder on it, and what each request of the page does with it."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.desk import box, features, new, reply
from planner.desk.asked import log_rows_in, said_in, spot_in, table_in, version_in
from planner.desk.rivers import Read, Sounded, read_contents, settings_given
from planner.desk.store import Change, Now, Store
from planner.errors import DataUnfit, PlumbrunError, RiverFolderUnfit, UsageMistake

if TYPE_CHECKING:
    from planner.desk.dayplan import DayPlan
    from planner.desk.live import Live
    from planner.desk.soundings_in import Previews
    from planner.plan.ask import AskedLevel, Request
    from planner.river import River

__all__ = ["Clock", "Desk"]


@dataclass(frozen=True)
class Clock:
    """What stands in for the network and the clock.

    Parameters
    ----------
    replies : tuple of Path
        Recorded gauge replies read in place of the network.
    now : str or None
        ISO 8601; None is the clock.
    """

    replies: tuple[Path, ...] = ()
    now: str | None = None

    def moment(self, zone: str = "UTC") -> datetime:
        """The moment called now, UTC."""
        from planner.plan.ask import moment

        return moment(self.now, zone)


class Desk:
    """A river folder with everything that is kept in memory for it.

    Parameters
    ----------
    folder : Path or None
        The river folder; None until it is made.
    clock : Clock
        Recorded replies and the moment called now.
    parent : Path
        Where a new folder is made.
    """

    def __init__(self, folder: Path | None, clock: Clock | None = None, parent: Path | None = None) -> None:
        self.clock = clock or Clock()
        self.parent = Path(parent) if parent is not None else Path.cwd()
        self._store: Store | None = None
        self._folder: Path | None = None
        self._reading = threading.Lock()
        self._read: tuple[str, Read] | None = None
        self._sounded = Sounded()
        self._making = threading.RLock()
        self._live: Live | None = None
        self._day: DayPlan | None = None
        self._previews: Previews | None = None
        if folder is not None:
            self.lay(Path(folder))

    def lay(self, folder: Path) -> None:
        """Lay a folder on the desk."""
        self._folder, self._store, self._read = folder, Store(folder), None

    @property
    def started(self) -> bool:
        """Whether a folder lies on the desk."""
        return self._folder is not None

    @property
    def folder(self) -> Path:
        """The river folder."""
        if self._folder is None:
            raise UsageMistake("there is no river folder yet", "a river folder", "answer the five questions first")
        return self._folder

    @property
    def store(self) -> Store:
        """Its files."""
        if self._store is None:
            raise UsageMistake("there is no river folder yet", "a river folder", "answer the five questions first")
        return self._store

    def read(self, now: Now) -> Read:
        """The river of the folder as it stands, parsed once per version."""
        with self._reading:
            if self._read is None or self._read[0] != now.version:
                self._read = (now.version, read_contents(now.contents, self.folder, self._sounded))
            return self._read[1]

    def river(self) -> dict[str, Any]:
        """Everything that the page shows of the folder."""
        return self.body(self.store.now())

    def body(self, now: Now) -> dict[str, Any]:
        """The same, for a state at hand."""
        from planner.desk.surround import around

        read = self.read(now)
        more = around(self.folder, read.river, self.clock.moment(read.river.timezone if read.river else "UTC"))
        more["learned"] = self._live.lessons_known() if self._live is not None else {}
        return reply.river_body(self.folder.name, now, read) | more

    def under(self) -> dict[str, Any]:
        """What the folder has to lie under the map."""
        from planner.desk.surround import under

        return under(self.whole(False))

    def picture_host(self) -> str:
        """The host of background pictures, when river.toml asks for them."""
        from planner.desk.surround import picture_host

        return picture_host(self.read(self.store.now()).river) if self.started else ""

    def shapes(self, kind: str, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Add, change and remove features of one file."""
        put, remove = asked.get("set", []), asked.get("remove", [])
        if not isinstance(put, list) or not isinstance(remove, list) or not all(isinstance(i, str) for i in remove):
            raise UsageMistake("the edit", "set: a list of features, remove: a list of ids", "send it so", where=kind)
        file = features.KINDS[kind]
        merged: list[str] = []
        given = settings_given(self.read(self.store.now()).river)

        def change(now: dict[str, bytes], base: dict[str, bytes] | None) -> dict[str, bytes | None]:
            then = (base or {}).get(file)
            joined = features.join(kind, now.get(file), then, base is not None, put, remove, given)
            merged.extend(joined.merged)
            return {file: joined.text.encode()}

        _, after = self.store.edit(version_in(asked), said_in(asked, f"Changed {kind}"), change)
        return self.saved(after) | {"merged": merged}

    def saved(self, now: Now) -> dict[str, Any]:
        """What every write answers."""
        return {
            "version": now.version,
            "findings": reply.findings_of(self.read(now), now),
            "history": reply.history_of(now),
        }

    def step(self, by: int, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Go back or forward in the history."""
        base = asked.get("version")
        return self.body(self.store.step(by, base if isinstance(base, str) else None))

    # files of settings and tackle

    def settings(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Set members of river.toml."""
        put = table_in(asked, "set")
        return self._edit(
            asked, "Changed the settings", lambda now, then: box.settings_edited(now, then, put, self.folder)
        )

    def thresholds(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Set the list of local thresholds."""
        put = asked.get("set")
        return self._edit(
            asked, "Changed the local thresholds", lambda now, then: box.thresholds_edited(now, then, put, self.folder)
        )

    def tackle(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Set lines, flies, leader and tippet."""
        put = table_in(asked, "set")
        return self._edit(asked, "Changed the tackle box", lambda now, then: box.tackle_edited(now, then, put))

    def physics(self, asked: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """What the labels of the box imply, or those of an entry that is being typed."""
        tackle = self.whole(False).tackle
        return box.physics(tackle) if asked is None else box.physics_of_entry(asked, tackle)

    def _edit(self, asked: Mapping[str, Any], said: str, change: Change) -> dict[str, Any]:
        before, after = self.store.edit(version_in(asked), said_in(asked, said), change)
        return self.saved(after) | {"merged": [] if before.version == version_in(asked) else ["elsewhere"]}

    # soundings

    def preview(self, given: bytes | Mapping[str, Any], name: str, options: Mapping[str, str]) -> dict[str, Any]:
        """What a file or typed rows would bring; nothing is written."""
        river = self.whole(False)
        return self.previews.make(given, name, options, river, self.clock.moment(river.timezone))

    def apply(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Write a preview's rows below those of soundings.csv."""
        from planner.bed.sources.adding import appended_text
        from planner.desk.soundings_in import kept_rows
        from planner.river.depths import SOUNDINGS_FILE

        read = self.previews.read(asked.get("preview"))
        added = 0

        def change(now: dict[str, bytes], _: dict[str, bytes] | None) -> dict[str, bytes | None]:
            nonlocal added
            river = read_contents(now, self.folder).river
            if river is None:
                raise DataUnfit("river.toml cannot be read", "a river folder", "mend it first", where="river.toml")
            intake = kept_rows(river, read, self.clock.moment(river.timezone))
            added = intake.new
            text = appended_text(river.documents.get(SOUNDINGS_FILE), intake)
            return {} if text is None else {SOUNDINGS_FILE: text.encode()}

        done = self._edit(asked, f"Added soundings of {read.file}", change)
        return done | {"added": added}

    # what the water does, and the plan

    def whole(self, planned: bool = True) -> River:
        """The river as it stands; with `planned`, only one that a plan can be made of."""
        read = self.read(self.store.now())
        wrong = [finding for finding in read.findings if finding.level == "error"]
        if read.river is None or (planned and wrong):
            first = wrong[0]
            where = f"{first.file}, {first.where}" if first.where else first.file
            raise RiverFolderUnfit(first.given, first.need, first.next_step, where=where, findings=read.findings)
        return read.river

    @property
    def live(self) -> Live:
        """What answers for single spots; made when it is first asked."""
        with self._making:
            if self._live is None:
                from planner.desk.live import Live
                from planner.desk.waters import Waters

                self._live = Live(Waters())
            return self._live

    @property
    def day(self) -> DayPlan:
        """What plans the whole day."""
        with self._making:
            if self._day is None:
                from planner.desk.dayplan import DayPlan

                self._day = DayPlan(self.live, lambda: self.folder)
            return self._day

    @property
    def previews(self) -> Previews:
        """What was read and waits."""
        with self._making:
            if self._previews is None:
                from planner.desk.soundings_in import Previews

                self._previews = Previews()
            return self._previews

    def request(self, asked: Mapping[str, Any], river: River) -> Request:
        """Day, window and level of a request of the page."""
        from planner.plan.ask import request

        words = {name: asked.get(name) for name in ("day", "from", "to", "level")}
        if not all(value is None or isinstance(value, str) for value in words.values()):
            raise UsageMistake("day, from, to or level is no text", "texts such as 2.4 ft", "send them so")
        return request(
            river.timezone,
            day=words["day"] or "tomorrow",
            start=words["from"] or "08:00",
            end=words["to"] or "16:00",
            level=words["level"] or None,
            now=self.clock.moment(river.timezone).replace(second=0),  # so that a minute's requests are alike
            replies=self.clock.replies,
        )

    def plan_spot(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """One spot's answer, saved or as it is being drawn."""
        river = self.whole()
        spot = spot_in(asked.get("spot"), river)
        return self.live.spot(river, spot, self.request(asked, river), asked.get("whole") is True)

    def close(self) -> None:
        """Let go of what waits to be computed; what was edited is on the disk."""
        with self._making:
            if self._live is not None:
                self._live.stop()

    def warm(self) -> None:
        """Do ahead what the first answer would wait for: imports, compiled code, gauges, surveys, one spot's swims.

        What cannot be had now is said when it is asked for.
        """
        if not self.started:
            return
        try:
            river = self.whole()
            request = self.request({}, river)
            self.live.waters.all(river, request)
            for spot in river.spots[:1]:
                self.live.spot(river, spot, request, whole=True)
        except PlumbrunError:
            return

    def plan_day(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Ask for the plan of the whole day."""
        river = self.whole()
        return self.day.start(river, self.request(asked, river), self.store.version())

    def caution(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """The caution of a day without its plan: gauges, weather and water, no swims."""
        from planner.caution import standing_words

        river = self.whole()
        found = self.live.day_caution(river, self.request(asked, river))
        return {"caution": found.as_dict(), "reminder": standing_words()}

    def calibrate(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """A line or fly timed in a bucket or pool; nothing is written."""
        river = self.whole(False)
        return box.calibrated(asked, river.tackle, river.units)

    def learned(self) -> dict[str, Any]:
        """What the log teaches of lines and spots, and its entries."""
        from planner.plan.taught import learned_record

        river = self.whole()
        lessons = self.live.lessons(river, self.request({}, river))
        return learned_record(lessons, river.units) | {"entries": len(river.log)}

    def see(self, run_id: str, level: str | None, point: tuple[float, float] | None = None) -> dict[str, Any]:
        """Cells of a run at a level, or with a point the section through it."""
        from planner.desk import see
        from planner.plan.ask import asked_level

        river = self.whole(False)
        run = river.run(run_id)
        given: AskedLevel | None = asked_level(level) if level else None
        now = self.clock.moment(river.timezone)
        water = self.live.waters.water(run, river, see.request_at(now, given, self.clock.replies))
        if point is not None:
            return see.section_of(water, *point, given)
        return see.cells_of(river, water, given, now)

    # the log

    def log(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Add entries to the log: ``rows`` or ``csv`` as the page exports them, or one ``entry``."""
        from planner.logbook import added_log, entry_of, rows_of_text
        from planner.river.depths import LOG_FILE

        report: dict[str, Any] = {}

        def change(now: dict[str, bytes], _: dict[str, bytes] | None) -> dict[str, bytes | None]:
            river = read_contents(now, self.folder).river
            if river is None:
                raise DataUnfit("river.toml cannot be read", "a river folder", "mend it first", where="river.toml")
            rows = log_rows_in(asked, rows_of_text)
            if isinstance(asked.get("entry"), dict):
                try:
                    rows.append(entry_of(river, self.clock.moment(river.timezone), **asked["entry"]))
                except TypeError as error:
                    raise UsageMistake("the entry", "spot, outcome, countdown, line, fly, at, level, note", "correct it"
                                       ) from error  # fmt: skip
            text, found = added_log(river, rows)
            report.update(found)
            return {} if text is None else {LOG_FILE: text.encode()}

        return self._edit(asked, "Added to the log", change) | report

    # before there is a folder

    def gauges_near(self, lon: float, lat: float, service: str, within_km: float) -> dict[str, Any]:
        """Stations around a point."""
        return new.gauges_near(lon, lat, service, within_km, self.clock.moment(), self.clock.replies)

    def gauge_checked(self, station: str) -> dict[str, Any]:
        """What a station reads."""
        return new.gauge_checked(station, self.clock.moment(), self.clock.replies, self._folder)

    def make(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Make a folder of five answers and lay it on the desk."""
        with self._making:
            if self.started:
                raise UsageMistake("a folder lies on the desk already", "a desk without one", "start another desk")
            folder, notes = new.make_folder(asked, self.parent)
            self.lay(folder)
        return self.river() | {"notes": notes}
