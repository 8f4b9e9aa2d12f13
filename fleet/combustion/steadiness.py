"""Whether a reading had come to rest: a series of samples at one rate against a criterion, quantity by quantity.

Steady O2 (or CO2) and CO suffice for targets and CO; the flue temperature, which on a condensing boiler follows
the return, matters for efficiency alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.coded import Coded, coded
from fleet.combustion.arrays import Floats, floats

QUANTITIES: Final = ("o2", "co2", "co", "flue_temp")
# Figures that differ by less than this are the same: 5.2 - 5.0 is 0.2 whatever binary fractions make of it.
ROUNDING: Final = 1e-9
TIME_ROUNDING_S: Final = 1e-6
FEWEST_SAMPLES: Final = 5
# However a series wanders, it counts for two independent samples.
FEWEST_INDEPENDENT: Final = 2.0
MINUTE_S: Final = 60.0


@dataclass(frozen=True, slots=True)
class Criterion:
    """When a reading counts as steady.

    min_time_s, min_time_cold_s: at this rate, the second where the appliance was started from cold [s].
    window_s: the last of the series that is looked at [s].
    o2_range_pct, co2_range_pct: largest less smallest in the window [points].
    co_range_ppm, co_range_pct: the same for CO, the larger of ppm and percent of the window's mean.
    flue_temp_slope_k_min: change of the flue temperature, up or down [K/min].
    min_samples: in the window. max_gap_s: between samples of the window, and to its ends [s].

    CO2 has a range of its own because no fuel is known here: the 0.2 of O2 along a fuel's line is 0.11 points
    of CO2 for natural gas and 0.15 for oil, so 0.1 is never laxer than O2.

    Evidence: own default; no published standard gives seconds and ranges for service work.
    Raises ValueError for a figure that isn't above 0.
    """

    min_time_s: float = 120.0
    min_time_cold_s: float = 300.0
    window_s: float = 60.0
    o2_range_pct: float = 0.2
    co2_range_pct: float = 0.1
    co_range_ppm: float = 5.0
    co_range_pct: float = 10.0
    flue_temp_slope_k_min: float = 2.0
    min_samples: int = FEWEST_SAMPLES
    max_gap_s: float = 20.0

    def __post_init__(self) -> None:
        for field in fields(self):
            if not getattr(self, field.name) > 0:
                raise ValueError(f"{field.name}: is {getattr(self, field.name)}, but must be above 0")


@dataclass(frozen=True, slots=True)
class Steadiness:
    """One quantity over the window; figures are NaN, or None as kept, where there are too few samples or some were over
    range.

    steady: True; False where the criterion isn't met yet; None where the series can't tell.
    mean: of the window. u: standard uncertainty of that mean from its scatter alone; what the analyser states
    comes on top. n: samples. window_s: from the first of them to the last.
    slope_per_min: of a straight line through them. range: largest less smallest.
    reason: why not, or not yet, as a code and its figures; None where steady.
    """

    steady: bool | None
    mean: float | None
    u: float | None
    n: int
    window_s: float | None
    slope_per_min: float | None
    range: float | None
    reason: Coded | None


@dataclass(frozen=True, slots=True)
class CoRise:
    """What CO did over a series; NaN where there are too few samples.

    slope_ppm_min: of a straight line through its last part. first_minute_max_ppm: the largest in the first
    60 s. last_mean_ppm: mean of the last 60 s that lie after the first.
    """

    slope_ppm_min: float
    first_minute_max_ppm: float
    last_mean_ppm: float


DEFAULT_CRITERION: Final = Criterion()


def steadiness(
    time_s: ArrayLike,
    values: Mapping[str, ArrayLike],
    *,
    from_cold: bool = False,
    criterion: Criterion = DEFAULT_CRITERION,
    over_range: Mapping[str, ArrayLike] | None = None,
) -> dict[str, Steadiness]:
    """Each quantity of a series at one rate, judged by its last `criterion.window_s` seconds.

    time_s: of the samples [s], increasing, spaced as they come; the first one counts as the moment this rate
    was reached, and the last one must lie the criterion's time after it, window included.
    values: any of o2, co2 [% vol], co [ppm], flue_temp [°C], a sample each; NaN samples are dropped.
    over_range: for any of them, whether a sample only says "more_than": the window then has no mean.
    Raises ValueError for another quantity, for times that don't increase and for lengths that differ.

    Exactly on what is allowed is steady.

    >>> wandering = steadiness([0, 30, 60, 75, 90, 105, 120], {"o2": [5.0, 5.0, 5.0, 5.1, 5.2, 5.3, 5.4]})
    >>> wandering["o2"].reason[0], round(wandering["o2"].reason[1]["moved"], 6)
    ('moved', 0.4)
    """
    times = _times(time_s)
    needed_s = criterion.min_time_cold_s if from_cold else criterion.min_time_s
    hidden = {name: _column("over_range", name, flags, times) > 0 for name, flags in (over_range or {}).items()}
    seen = np.zeros(times.shape, dtype=bool)
    return {
        name: _judged(name, times, _column("values", name, samples, times), hidden.get(name, seen), needed_s, criterion)
        for name, samples in values.items()
    }


def overall(quantities: Mapping[str, Steadiness]) -> bool | None:
    """Whether a reading was steady enough for its target and its CO: O2 (or else CO2) and CO.

    False where either of the two is not steady, None where one can't be told. The flue temperature doesn't
    count: it matters for efficiency alone.
    """
    oxygen = [quantities[name].steady for name in ("o2", "co2") if name in quantities]
    told = next((steady for steady in oxygen if steady is not None), None)
    both = (told, quantities["co"].steady if "co" in quantities else None)
    if False in both:
        return False
    return None if None in both else True


def co_rise(time_s: ArrayLike, co_ppm: ArrayLike, *, last_s: float = 120.0) -> CoRise:
    """How CO moved: its slope over the last `last_s` seconds, its largest at first and its mean at last.

    time_s as in `steadiness`; NaN samples are dropped. A slope needs five samples.

    >>> co_rise([0, 30, 60, 90, 120, 150, 180], [400, 90, 40, 40, 41, 41, 42]).first_minute_max_ppm
    400.0
    """
    if not last_s > 0:
        raise ValueError(f"last_s: is {last_s}, but must be above 0")
    times = _times(time_s)
    co = _column("co_ppm", "co", co_ppm, times)
    if not times.size:
        return CoRise(np.nan, np.nan, np.nan)
    read, start, end = ~np.isnan(co), times[0], times[-1]
    first = read & (times <= start + MINUTE_S)
    last = read & (times > start + MINUTE_S) & (times >= end - MINUTE_S)
    slope = read & (times >= end - last_s)
    return CoRise(
        slope_ppm_min=_slope_per_min(times[slope], co[slope]),
        first_minute_max_ppm=float(co[first].max()) if first.any() else np.nan,
        last_mean_ppm=float(co[last].mean()) if last.any() else np.nan,
    )


def mean_uncertainty(samples: ArrayLike) -> float:
    """Standard uncertainty of the mean of samples that follow each other, which is larger than s / sqrt(n).

    Equation: s sqrt((1 + r) / (1 - r) / n), r the autocorrelation from one sample to the next, corrected for
    the mean being the samples' own: r = (n r' + 1) / (n - 4) from r' as estimated, since r' falls short of r by
    (1 + 4 r) / n; no less than 0, and so that at least two samples count as independent. NaN below five samples.
    Source: JCGM 100:2008, 4.2.3 for independent samples; effective number of samples of a first-order
    autoregressive series, A. Zieba, Metrology and Measurement Systems 17 (2010), and the bias by Marriott and
    Pope, Biometrika 41 (1954) (all three from memory).

    Checked by simulation with 60 samples: right to 7 % up to a correlation of 0.9, 18 % too small at 0.93 and
    30 % at 0.95. A series that short can't show more; with 12 samples it is 36 % too small at 0.8 already.

    >>> round(mean_uncertainty([5.0, 5.1, 5.0, 5.1, 5.0, 5.1]), 4)
    0.0224
    """
    x = floats(samples)
    n = x.size
    if n < FEWEST_SAMPLES:
        return float("nan")
    deviations = x - x.mean()
    squares = float(deviations @ deviations)
    if squares <= (ROUNDING * max(1.0, float(np.abs(x).max()))) ** 2:
        return 0.0
    estimated = float(deviations[1:] @ deviations[:-1]) / squares
    correlation = min(max((n * estimated + 1) / (n - 4), 0.0), 1.0)
    independent = max(n * (1 - correlation) / (1 + correlation), FEWEST_INDEPENDENT)
    return float(np.sqrt(squares / (n - 1) / independent))


# ---- one quantity ----


def _judged(
    name: str, times: Floats, samples: Floats, hidden: NDArray[np.bool_], needed_s: float, criterion: Criterion
) -> Steadiness:
    end_s = times[-1] if times.size else 0.0
    window = times >= end_s - criterion.window_s - TIME_ROUNDING_S
    read = window & np.isfinite(samples)
    at, x = times[read], samples[read]
    beyond = bool((hidden & window).any())
    known = x.size >= criterion.min_samples and not beyond
    mean, spread = (float(x.mean()), float(np.ptp(x))) if known else (np.nan, np.nan)
    slope = _slope_per_min(at, x) if known else np.nan
    unseen = _unseen(name, at, beyond, criterion)
    early = None if unseen else _early(times, needed_s)
    thin = None if unseen or early else _thin(times, at, criterion)
    moved = None if unseen or early or thin else _moved(name, mean, spread, slope, criterion)
    return Steadiness(
        steady=None if unseen or thin else not (early or moved),
        mean=mean,
        u=mean_uncertainty(x) if known else np.nan,
        n=int(x.size),
        window_s=float(at[-1] - at[0]) if x.size else 0.0,
        slope_per_min=slope,
        range=spread,
        reason=unseen or early or thin or moved,
    )


def _unseen(name: str, at: Floats, beyond: bool, criterion: Criterion) -> Coded | None:
    """Why the window holds no figure of the quantity; None where it does."""
    if beyond:
        return coded("over_range", quantity=name, window_s=criterion.window_s)
    return None if at.size else coded("not_read", quantity=name, window_s=criterion.window_s)


def _early(times: Floats, needed_s: float) -> Coded | None:
    elapsed_s = float(times[-1] - times[0])
    if elapsed_s >= needed_s - TIME_ROUNDING_S:
        return None
    return coded("too_short", elapsed_s=elapsed_s, needed_s=needed_s)


def _thin(times: Floats, at: Floats, criterion: Criterion) -> Coded | None:
    """Why the samples of the window are too few or too far apart to tell; None where they aren't."""
    if at.size < criterion.min_samples:
        return coded("too_few", samples=int(at.size), window_s=criterion.window_s)
    start_s = max(times[-1] - criterion.window_s, times[0])
    gap_s = float(np.diff([start_s, *at, times[-1]]).max())
    return coded("gap", gap_s=gap_s) if gap_s > criterion.max_gap_s + TIME_ROUNDING_S else None


def _moved(name: str, mean: float, spread: float, slope: float, criterion: Criterion) -> Coded | None:
    """How it moved more than is allowed, in its own unit (the flue temperature by the minute); None if it didn't."""
    moved, allowed = {
        "o2": (spread, criterion.o2_range_pct),
        "co2": (spread, criterion.co2_range_pct),
        "co": (spread, max(criterion.co_range_ppm, criterion.co_range_pct / 100 * mean)),
        "flue_temp": (abs(slope), criterion.flue_temp_slope_k_min),
    }[name]
    if moved <= allowed + ROUNDING:
        return None
    if name == "flue_temp":
        return coded("rises" if slope > 0 else "falls", moved=moved, allowed=allowed)
    return coded("moved", quantity=name, moved=moved, allowed=allowed, window_s=criterion.window_s)


def _slope_per_min(at_s: Floats, x: Floats) -> float:
    """Slope of the straight line of least squares [unit/min]; NaN below five samples."""
    if x.size < FEWEST_SAMPLES:
        return float("nan")
    minutes = (at_s - at_s.mean()) / MINUTE_S
    return float(minutes @ (x - x.mean()) / (minutes @ minutes))


# ---- what comes in ----


def _times(time_s: ArrayLike) -> Floats:
    times = floats(time_s)
    if times.ndim != 1 or not np.isfinite(times).all():
        raise ValueError("time_s: must be one series of finite seconds")
    if late := np.flatnonzero(np.diff(times) <= 0).tolist():
        before, after = times[late[0]], times[late[0] + 1]
        raise ValueError(f"time_s: {after:g} s follows {before:g} s, but times must increase")
    return times


def _column(argument: str, name: str, samples: ArrayLike, times: Floats) -> Floats:
    if name not in QUANTITIES:
        raise ValueError(f"{argument}: {name!r} is not one of {', '.join(QUANTITIES)}")
    column = floats(samples)
    if column.shape != times.shape:
        raise ValueError(f"{argument}: {name} has shape {column.shape}, but must have a sample for each time")
    return column
