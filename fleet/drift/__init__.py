"""Drift of a unit between visits: learned from the whole fleet, forecast for each unit.

Readings enter corrected to reference air, CO2, O2 and temperature rise as they are, CO as log1p(ppm) with its
limits alike; times in years of 365.25 days. The room knows one number a reading: which quantity, which rate
and which appliance is the caller's.
"""

from .calibration import Calibration, Reliability, calibrate, reliability
from .fitting import fit
from .forecast import (
    HORIZON_GRID_YEARS,
    Limits,
    ReadingDistribution,
    crossing_probability,
    horizon,
    reading_distribution,
)
from .hyper import MIN_SERIES_FOR_FIT, Hyper, Prior, assumed
from .model import Innovations, State, filter, innovations, loglik, update
from .series import Panel
from .simulate import FleetLaw, SimulatedFleet, simulate

__all__ = [
    "HORIZON_GRID_YEARS",
    "MIN_SERIES_FOR_FIT",
    "Calibration",
    "FleetLaw",
    "Hyper",
    "Innovations",
    "Limits",
    "Panel",
    "Prior",
    "ReadingDistribution",
    "Reliability",
    "SimulatedFleet",
    "State",
    "assumed",
    "calibrate",
    "crossing_probability",
    "filter",
    "fit",
    "horizon",
    "innovations",
    "loglik",
    "reading_distribution",
    "reliability",
    "simulate",
    "update",
]
