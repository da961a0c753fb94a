"""The page for the river, the exports and the text on the terminal.

`build_page` writes one HTML file that works with no network; `spots_csv`, `spots_gpx` and `summary` say the same
plan for a spreadsheet, a GPS unit and a terminal. Cautions come first in all of them.
"""

from planner.page.exports import spots_csv, spots_gpx
from planner.page.sheet import build_page
from planner.page.summary import summary

__all__ = ["build_page", "spots_csv", "spots_gpx", "summary"]
