"""The page of 40 spots on 25 levels, and of 200: bytes and building time (design: 900 kB for the first)."""

from __future__ import annotations

import time

from planner.page import build_page
from tests.page.sample import sample


def built(spots: int) -> tuple[float, float]:
    """Kilobytes and seconds of one page."""
    plan, river = sample(runs=20, spots=spots, levels=25)
    build_page(plan, river, "us")
    start = time.perf_counter()
    page = build_page(plan, river, "us")
    return len(page.encode("utf-8")) / 1000, time.perf_counter() - start


def main() -> None:
    """Build both and print one line."""
    (small, quick), (large, slow) = built(40), built(200)
    print(
        f"page: 40 spots x 25 levels {small:.0f} kB (target 900) in {quick:.2f} s; 200 spots {large:.0f} kB in "
        f"{slow:.2f} s: {large / small:.1f} times the bytes, {slow / quick:.1f} times the time"
    )


if __name__ == "__main__":
    main()
