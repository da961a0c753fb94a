"""Readings of public gauges and of files, all as one `Series` with quality."""

from planner.gauges.registry import open_series
from planner.gauges.series import Quality, Reading, Series
from planner.gauges.usgs_iv import parse_iv_json

__all__ = ["Quality", "Reading", "Series", "open_series", "parse_iv_json"]
