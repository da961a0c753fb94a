"""A process of its own that adds entries to a log, one after the other.

python -m tests.writer_process FOLDER NAME COUNT
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

from planner.logbook import entry_of, log_entries
from planner.river import read_river


def main() -> None:
    """Add entries whose notes say who wrote them."""
    folder, name, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    river = read_river(folder)
    now = datetime(2026, 6, 12, 23, 0, tzinfo=UTC)
    for number in range(count):
        at = f"2026-06-12T{10 + number}:00"
        row = entry_of(
            river, now, spot=river.spots[0].id, outcome="clean", countdown=5.0 if name == "a" else 6.0, at=at,
            note=f"{name}-{number}",
        )  # fmt: skip
        log_entries(folder, [row])


if __name__ == "__main__":
    main()
