"""The bed of a run: channel coordinates, interpolation of soundings, sections and their error."""

from planner.bed.error import BedError, block_error
from planner.bed.frame import ChannelFrame
from planner.bed.outline import Edges, centreline, flowline_near, polygon_edges
from planner.bed.points import Points, thin
from planner.bed.section import Section, Wetted, wetted
from planner.bed.surface import Bed, Grid, fit_bed
from planner.bed.weights import Weights, idw_weights, rbf_weights

__all__ = [
    "Bed",
    "BedError",
    "ChannelFrame",
    "Edges",
    "Grid",
    "Points",
    "Section",
    "Weights",
    "Wetted",
    "block_error",
    "centreline",
    "fit_bed",
    "flowline_near",
    "idw_weights",
    "polygon_edges",
    "rbf_weights",
    "thin",
    "wetted",
]
