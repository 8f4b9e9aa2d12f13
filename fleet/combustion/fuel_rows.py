"""A fuel per row: what a `Fuel` says, as arrays, for readings of many sites at once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.combustion.arrays import Floats
from fleet.combustion.fuels import Fuel


class _OfEachRow:
    """A figure of `Fuel` under its own name, looked up for the fuel of each row."""

    def __set_name__(self, owner: type, name: str) -> None:
        self.name = name
        self.__doc__ = f"`Fuel.{name}` of each row."

    def __get__(self, rows: "FuelRows | None", owner: type | None = None) -> Floats:
        if rows is None:
            raise AttributeError(f"{self.name} belongs to rows, not to their class")
        return rows.of_each_row(self.name)


@dataclass(frozen=True, slots=True, eq=False)
class FuelRows:
    """The fuels that rows burn and which of them each row does; figures have the shape of the index.

    Goes wherever a `Fuel` does among numbers: excess air, flue gas, heat balance, dew point, emissions.

    >>> from fleet.combustion.fuels import FUELS
    >>> rows = FuelRows.of([FUELS["methane"], FUELS["propane"]], np.array([0, 1, 0]))
    >>> rows.co2_max_pct.round(2).tolist()
    [11.74, 13.76, 11.74]
    """

    fuels: tuple[Fuel, ...]
    index: NDArray[np.intp]
    # Figures once a fuel, shared by the parts that rows are cut into.
    _tables: dict[Any, Floats] = field(default_factory=dict, repr=False)

    carbon = _OfEachRow()
    hydrogen = _OfEachRow()
    oxygen = _OfEachRow()
    nitrogen = _OfEachRow()
    sulfur = _OfEachRow()
    hhv_kj_mol = _OfEachRow()
    heat_capacity_j_mol_k = _OfEachRow()
    oxygen_demand = _OfEachRow()
    air_demand = _OfEachRow()
    dry_products = _OfEachRow()
    water_products = _OfEachRow()
    co2_max_pct = _OfEachRow()
    lhv_kj_mol = _OfEachRow()
    net_per_gross = _OfEachRow()
    molar_mass_g_mol = _OfEachRow()

    @classmethod
    def of(cls, fuels: Sequence[Fuel], index: ArrayLike) -> Self:
        """Rows that burn fuels[index]. Raises ValueError for no fuels, or an index that isn't one of theirs."""
        rows = np.asarray(index)
        if not fuels:
            raise ValueError("fuels: there are none")
        if rows.dtype.kind not in "iu":
            raise ValueError(f"index: holds {rows.dtype}, but must hold whole numbers")
        if rows.size and not (rows.min() >= 0 and rows.max() < len(fuels)):
            raise ValueError(f"index: reaches from {rows.min()} to {rows.max()}, but there are {len(fuels)} fuels")
        return cls(tuple(fuels), rows.astype(np.intp, copy=False))

    def __getitem__(self, rows: Any) -> "FuelRows":
        """These rows alone."""
        return FuelRows(self.fuels, self.index[rows], self._tables)

    def in_one_line(self, shape: tuple[int, ...]) -> "FuelRows":
        """The fuels of rows of this shape, laid out in one line."""
        return FuelRows(self.fuels, np.broadcast_to(self.index, shape).reshape(-1), self._tables)

    def of_each_row(self, name: str) -> Floats:
        """The figure of `Fuel` with this name."""
        if name not in self._tables:
            self._tables[name] = np.array([getattr(fuel, name) for fuel in self.fuels])
        return self._tables[name][self.index]

    def figures(self, of: Callable[[Fuel], Sequence[Any]]) -> Floats:
        """What a function tells of a fuel, a row a figure and a column a row."""
        if of not in self._tables:
            self._tables[of] = np.array([of(fuel) for fuel in self.fuels]).T
        return self._tables[of].take(self.index, axis=1)


AnyFuel = Fuel | FuelRows
