"""Visits of many units, laid side by side as arrays: one column a unit, one row a visit."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Panel:
    """The records of one quantity at one firing rate, K visits by N units.

    unit_ids, group_ids : N each; `unit_ids` is the order of the columns; group ids are strings.
    target              : (N,) the setting an adjustment aims at, unit of the quantity.
    t_years, dt_years   : (K, N) time of the visit and time since the one before [years]; a padded visit
                          has t_years NaN and dt_years 0.
    as_found, as_left   : (K, N) readings, unit of the quantity, NaN = missing. `as_left` is kept only where
                          the unit was adjusted or a part replaced: elsewhere it says nothing new.
    noise_scale         : (K, N) variance of the as-found reading as a multiple of the usual one.
    adjusted, replaced  : (K, N) flags.
    visit_of            : (M,) which visit (row * N + column) each record went into, -1 = before the first level;
                          None for a panel that is only part of another.

    Every column opens with the first visit that gives a level (a reading, an adjustment or a replaced
    part); what came before tells nothing. A unit that never gave one keeps a single empty visit.
    """

    unit_ids: tuple[Hashable, ...]
    group_ids: tuple[str, ...]
    target: FloatArray
    t_years: FloatArray
    dt_years: FloatArray
    as_found: FloatArray
    as_left: FloatArray
    noise_scale: FloatArray
    adjusted: BoolArray
    replaced: BoolArray
    visit_of: IntArray | None = None

    @classmethod
    def from_records(
        cls,
        unit_ids: Sequence[Any],
        group_ids: Sequence[Any],
        t_years: ArrayLike,
        as_found: ArrayLike,
        as_left: ArrayLike,
        adjusted: ArrayLike,
        noise_scale: ArrayLike | None = None,
        replaced: ArrayLike | None = None,
        *,
        target: ArrayLike,
    ) -> Panel:
        """A panel from flat arrays with one entry a visit, in any order.

        unit_ids            : hashable and sortable.
        group_ids           : strings; anything else is put as one. One group per unit.
        t_years             : days / 365.25 from any common origin.
        as_found, as_left   : unit of the quantity (log1p of ppm for CO), NaN or None = missing.
        noise_scale         : > 0, default 1; 1/n for a reading that is the mean of n.
        replaced            : a part that governs combustion was replaced: a new level and a new drift.
        target              : one for all, or one per record (equal within a unit).

        Entries of one unit at the same time are repeat readings and become one visit: readings are averaged
        with weight 1/noise_scale, so n equal ones leave noise_scale 1/n.
        Whether a reading is physically possible is for the caller to judge before it enters.
        ValueError names the argument that is of the wrong length, not finite, or contradicts itself.
        """
        columns = sorted(set(unit_ids))
        unit = _places(unit_ids, {unit: column for column, unit in enumerate(columns)})
        records = _Records.checked(unit, t_years, as_found, as_left, adjusted, noise_scale, replaced)
        names = list(dict.fromkeys(group_ids))
        group = _places(group_ids, {name: place for place, name in enumerate(names)})
        groups = tuple(str(names[place]) for place in _one_per_unit("group_ids", group, unit, len(columns)))
        aim = np.asarray(target, float)
        targets = _one_per_unit("target", aim if aim.ndim else np.full(unit.size, aim), unit, len(columns))
        _require("target must be finite", np.isfinite(targets))
        merged, visit = records.merged()
        begun = merged.begun()
        return _stack(merged.rows(begun), begun, visit, tuple(columns), groups, targets)

    @property
    def n_units(self) -> int:
        return len(self.unit_ids)

    @property
    def reset(self) -> BoolArray:
        """(K, N) visits that left the unit at a new level: adjusted, or with a part replaced."""
        return self.adjusted | self.replaced

    @property
    def scored(self) -> IntArray:
        """Columns with a reading after their first visit: the ones that tell about drift."""
        return np.flatnonzero(np.isfinite(self.as_found[1:]).any(axis=0))

    def places(self, n_records: int) -> IntArray:
        """`visit_of`, if the panel is made of so many records: ValueError if not."""
        if self.visit_of is None or self.visit_of.size != n_records:
            raise ValueError("labels must hold one entry per record of a panel that was made from records")
        return self.visit_of

    def take(self, columns: ArrayLike) -> Panel:
        """The same panel with only these columns, in this order, without rows that none of them uses."""
        chosen = np.atleast_1d(np.asarray(columns, np.intp))
        rows = int(np.isfinite(self.t_years[:, chosen]).sum(axis=0).max(initial=1))
        grids = (getattr(self, name)[:rows, chosen] for name in _GRIDS)
        return Panel(
            tuple(self.unit_ids[c] for c in chosen),
            tuple(self.group_ids[c] for c in chosen),
            self.target[chosen],
            *grids,
        )


_GRIDS = ("t_years", "dt_years", "as_found", "as_left", "noise_scale", "adjusted", "replaced")


@dataclass(frozen=True, eq=False)
class _Records:
    """Flat, checked records; `unit` holds column numbers."""

    unit: IntArray
    t_years: FloatArray
    as_found: FloatArray
    as_left: FloatArray
    noise_scale: FloatArray
    adjusted: BoolArray
    replaced: BoolArray

    @classmethod
    def checked(
        cls,
        unit: IntArray,
        t_years: ArrayLike,
        as_found: ArrayLike,
        as_left: ArrayLike,
        adjusted: ArrayLike,
        noise_scale: ArrayLike | None,
        replaced: ArrayLike | None,
    ) -> _Records:
        n = unit.size
        time = _numbers("t_years", t_years, n)
        scale = np.ones(n) if noise_scale is None else _numbers("noise_scale", noise_scale, n)
        found, left = _numbers("as_found", as_found, n), _numbers("as_left", as_left, n)
        moved = _flags("adjusted", adjusted, n)
        renewed = np.zeros(n, bool) if replaced is None else _flags("replaced", replaced, n)
        _require("t_years must be finite", np.isfinite(time))
        _require("noise_scale must be finite and above 0", np.isfinite(scale) & (scale > 0))
        _require("as_found must not be infinite", ~np.isinf(found))
        _require("as_left must not be infinite", ~np.isinf(left))
        return cls(unit, time, found, np.where(moved | renewed, left, np.nan), scale, moved, renewed)

    @property
    def informative(self) -> BoolArray:
        return np.isfinite(self.as_found) | self.adjusted | self.replaced

    def merged(self) -> tuple[_Records, IntArray]:
        """Sorted by unit and time, entries of one unit at one time pooled into one; and which one each went into."""
        order = np.lexsort((self.t_years, self.unit))
        unit, time = self.unit[order], self.t_years[order]
        opens = np.ones(order.size, bool)
        opens[1:] = (np.diff(unit) != 0) | (np.diff(time) != 0)
        visit, n = np.cumsum(opens) - 1, int(opens.sum())
        precision = 1.0 / self.noise_scale[order]
        found, scale = _pooled(self.as_found[order], precision, visit, n)
        left, _ = _pooled(self.as_left[order], precision, visit, n)
        adjusted, replaced = (_any(flag[order], visit, n) for flag in (self.adjusted, self.replaced))
        went_into = np.empty(order.size, np.intp)
        went_into[order] = visit
        return _Records(unit[opens], time[opens], found, left, scale, adjusted, replaced), went_into

    def begun(self) -> BoolArray:
        """False for what came before a unit's first level; a unit with none keeps its last entry."""
        if not self.unit.size:
            return np.ones(0, bool)
        counted = np.cumsum(self.informative)
        firsts = _firsts(self.unit)
        before = np.where(firsts > 0, counted[firsts - 1], 0)
        begun = counted > before[self.unit]
        lasts = np.append(firsts[1:], self.unit.size) - 1
        begun[lasts] = True
        return begun

    def rows(self, keep: BoolArray) -> _Records:
        names = ("unit", "t_years", "as_found", "as_left", "noise_scale", "adjusted", "replaced")
        return _Records(*(getattr(self, name)[keep] for name in names))


def _places(ids: Sequence[Any], place: dict[Any, int]) -> IntArray:
    return np.fromiter(map(place.__getitem__, ids), np.intp, len(ids))


def _firsts(unit: IntArray) -> IntArray:
    """Position of the first entry of each unit in an array sorted by unit."""
    return np.flatnonzero(np.diff(unit, prepend=-1))


def _stack(
    records: _Records,
    kept: BoolArray,
    went_into: IntArray,
    units: tuple[Hashable, ...],
    groups: tuple[str, ...],
    target: FloatArray,
) -> Panel:
    firsts = _firsts(records.unit)
    row = np.arange(records.unit.size) - firsts[records.unit]
    shape = (int(row.max(initial=0)) + 1, len(units))

    def grid(values: NDArray[Any], empty: float | bool) -> NDArray[Any]:
        stacked = np.full(shape, empty, values.dtype)
        stacked[row, records.unit] = values
        return stacked

    place = np.full(kept.size, -1)
    place[kept] = row * len(units) + records.unit
    since = np.diff(records.t_years, prepend=0.0)
    since[firsts] = 0.0
    return Panel(
        units,
        groups,
        target,
        grid(records.t_years, np.nan),
        grid(since, 0.0),
        grid(records.as_found, np.nan),
        grid(records.as_left, np.nan),
        grid(records.noise_scale, 1.0),
        grid(records.adjusted, False),
        grid(records.replaced, False),
        place[went_into],
    )


def _pooled(values: FloatArray, precision: FloatArray, visit: IntArray, n: int) -> tuple[FloatArray, FloatArray]:
    """Precision-weighted mean of the readings of each visit, and its variance; NaN and 1 where none."""
    known = np.isfinite(values)
    weight = np.where(known, precision, 0.0)
    total = np.bincount(visit, weight, n)
    summed = np.bincount(visit, weight * np.where(known, values, 0.0), n)
    some = total > 0
    mean = np.divide(summed, total, out=np.full(n, np.nan), where=some)
    variance = np.divide(1.0, total, out=np.ones(n), where=some)
    return mean, variance


def _any(flag: BoolArray, visit: IntArray, n: int) -> BoolArray:
    return np.bincount(visit, flag, n) > 0


def _numbers(name: str, values: ArrayLike, n: int) -> FloatArray:
    numbers = np.asarray(values, float)
    if numbers.shape != (n,):
        raise ValueError(f"{name} must hold one entry per record ({n}), got shape {numbers.shape}")
    return numbers


def _flags(name: str, values: ArrayLike, n: int) -> BoolArray:
    flags = np.asarray(values)
    if flags.shape != (n,):
        raise ValueError(f"{name} must hold one entry per record ({n}), got shape {flags.shape}")
    return flags.astype(bool)


def _one_per_unit(name: str, values: NDArray[Any], unit: IntArray, n_units: int) -> NDArray[Any]:
    """The value of each unit; ValueError if a unit was given two."""
    if values.size != unit.size:
        raise ValueError(f"{name} must hold one entry per record ({unit.size}), got {values.size}")
    told = np.zeros(n_units, values.dtype)
    told[unit] = values
    _require(f"{name} must be the same in all records of a unit: otherwise it is a new series", told[unit] == values)
    return told


def _require(message: str, holds: BoolArray) -> None:
    if not holds.all():
        raise ValueError(message)
