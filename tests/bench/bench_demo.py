"""The demo plan from a river folder to the written page: swim store empty, then with only the gauge changed."""

from __future__ import annotations

import json
import os
import tempfile
import time
from pathlib import Path

from planner.evening import DEMO_NOW, plan_folder, unpack_demo


def main() -> None:
    """Plan three times and print one line; machine code is compiled by a first plan that is not counted."""
    with tempfile.TemporaryDirectory() as room:
        folder, _ = unpack_demo(Path(room))
        os.environ["PLUMBRUN_CACHE"] = str(Path(room) / "first")
        plan_folder(folder, now=DEMO_NOW, out=Path(room) / "a")
        os.environ["PLUMBRUN_CACHE"] = str(Path(room) / "second")
        start = time.perf_counter()
        plan_folder(folder, now=DEMO_NOW, out=Path(room) / "b")
        cold = time.perf_counter() - start
        start = time.perf_counter()
        warm = plan_folder(folder, now=DEMO_NOW, level="6.3 ft", out=Path(room) / "c")
        changed = time.perf_counter() - start
        plan = json.loads((Path(room) / "c" / "plan.json").read_text(encoding="utf-8"))
        swims = plan["search"]["swims"] + plan["search"]["direct_swims"]
        size = warm.page.stat().st_size / 1000
    print(
        f"demo: {len(plan['spots'])} spots x {len(plan['ladder'])} levels planned in {cold:.1f} s with an empty store, "
        f"{changed:.1f} s with another level ({swims} swims), ratio {cold / changed:.1f}; page {size:.0f} kB"
    )


if __name__ == "__main__":
    main()
