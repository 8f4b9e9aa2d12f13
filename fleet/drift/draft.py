"""Hyper-parameters while they are being learned, and the series that teach them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Self

import numpy as np

from .hyper import Group, Hyper, Prior
from .recursion import Law, Visit, chunks, law_from, visits_of
from .series import FloatArray, IntArray, Panel

_CHUNK = 4096  # series a pass takes at a time


@dataclass(frozen=True, eq=False)
class Draft:
    """The fleet's numbers, and m, s2, q and v of its G groups side by side: (G, 4)."""

    fleet: Hyper
    names: tuple[str, ...]
    groups: FloatArray

    @classmethod
    def begin(cls, prior: Prior, names: Sequence[str], warm: Hyper | None, robust: bool, mixture: bool) -> Self:
        """At `warm`; what it doesn't say, at the centre of the prior. Without names all units are one group."""
        variance, rare = prior.tau0**2, prior.rare_events / prior.rare_exposure
        at = warm or Hyper(0.0, variance, variance, variance, prior.rho_mean, variance, 0, prior)
        lowest = variance * np.exp(-prior.log_bound)
        fleet = replace(
            at,
            s2=max(at.s2, lowest),
            q=max(at.q, lowest),
            pi=(at.pi or prior.pi_mean) if mixture else 0.0,
            e_o=(at.e_o or rare) if robust else 0.0,
            lam=(at.lam or rare) if robust else 0.0,
            om2=(at.om2 or variance) if names else 0.0,
            groups={},
            prior=prior,
        )
        plain = Group(fleet.m, fleet.s2, fleet.q, fleet.om2)
        return cls(fleet, tuple(names), np.array([at.groups.get(name, plain) for name in names or ("",)]))

    def moved(self, m: float, s2: float, q: float, r: float, rho: float, w2: float, pi: float) -> Draft:
        """The fleet's numbers changed; with them each group's m is shifted, its s2 and q stretched."""
        stretch = np.array([1.0, s2 / self.fleet.s2, q / self.fleet.q, 1.0])
        groups = self.groups * stretch + np.array([m - self.fleet.m, 0.0, 0.0, 0.0])
        return replace(self, fleet=replace(self.fleet, m=m, s2=s2, q=q, r=r, rho=rho, w2=w2, pi=pi), groups=groups)

    def law(self, group_of: IntArray) -> Law:
        """The law of units of these groups."""
        return law_from(self.fleet, self.groups[group_of])

    def hyper(self, n_series: int) -> Hyper:
        groups = {name: Group(*map(float, row)) for name, row in zip(self.names, self.groups, strict=False)}
        return replace(self.fleet, n_series=n_series, groups=groups)


@dataclass(frozen=True, eq=False)
class Sample:
    """Some series of a panel, in chunks of equal length or nearly: their visits and their groups' numbers."""

    chunks: tuple[tuple[list[Visit], IntArray], ...]

    @classmethod
    def of(cls, panel: Panel, columns: IntArray, group_of: IntArray) -> Self:
        n_visits = np.isfinite(panel.t_years[:, columns]).sum(axis=0)
        order = np.argsort(n_visits, kind="stable")
        chosen, groups = panel.take(columns[order]), group_of[order]
        return cls(tuple((visits_of(chosen, part), groups[part]) for part in chunks(order.size, _CHUNK)))


def numbered(group_ids: Sequence[str], columns: IntArray) -> tuple[tuple[str, ...], IntArray]:
    """The groups of these columns by name, and each column's place among them."""
    ids = [group_ids[column] for column in columns]
    names = tuple(sorted(set(ids)))
    place = {name: n for n, name in enumerate(names)}
    return names, np.array([place[each] for each in ids], np.intp)


def capped(group_of: IntArray, most: int, rng: np.random.Generator) -> IntArray:
    """Places of at most so many members of each group, drawn at random."""
    drawn = rng.permutation(group_of.size)
    by_group = drawn[np.argsort(group_of[drawn], kind="stable")]
    firsts = np.searchsorted(group_of[by_group], np.arange(group_of.max() + 1))
    rank = np.arange(by_group.size) - firsts[group_of[by_group]]
    return np.sort(by_group[rank < most])
