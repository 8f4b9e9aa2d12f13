"""Drift of a unit between visits: learned from the whole fleet, forecast for each unit.

Readings enter corrected to reference air, CO2, O2 and temperature rise as they are, CO as log1p(ppm) with its
limits alike (`co_scale`); times in years of 365.25 days. The room knows one number a reading: which quantity, which
rate and which appliance is the caller's.
"""

from .biases import Biases, Checks, Effects, biases
from .calibration import Calibration, Reliability, Surprises, reliability
from .fitting import fit
from .forecast import HORIZON_GRID_YEARS, crossing_probability, horizon, reading_distribution
from .hyper import MIN_SERIES_FOR_FIT, READING_SD, Group, Hyper, Prior, assumed, co_scale
from .model import Innovations, State, Warnings, filter, innovations, warnings
from .readings import Limits, ReadingDistribution
from .series import Panel
