"""Which of nested cut basins is offered: from the highest down, until one stands the tests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from wetscout.records import Candidate, Tree
from wetscout.settings.sites import SiteSettings
from wetscout.sites.judge import Measures, children_of, holds, inner_pools, lower_nodes
from wetscout.sites.turned_down import PLUGGED

VALLEY = "the ground around does not close: a valley crossed by a ditch, not a basin"
Judge = Callable[[int], tuple[Candidate, str | None]]
Down = list[tuple[int, str]]


@dataclass
class Picker:
    """Walks down a tree of basins.

    Attributes
    ----------
    tree : Tree
        Of the natural surface.
    m : Measures
    judge : callable
        Gives the candidate of a node, and what speaks against it.
    s : SiteSettings
    open_as_surveyed : callable
        Whether water over the floor of a candidate gets out with no fill opened.
    """

    tree: Tree
    m: Measures
    judge: Judge
    s: SiteSettings
    open_as_surveyed: Callable[[Candidate], bool] = lambda _: True
    children: list[list[int]] = field(init=False)
    # a basin is asked again from several levels above it: without this the work doubles with every level of a nest
    answered: dict[int, tuple[list[Candidate], Down]] = field(init=False, default_factory=dict)
    refused: dict[int, str] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.children = children_of(self.tree)

    def run(self, each: Callable[..., list[Any]] | None = None) -> tuple[list[Candidate], Down]:
        """Pick in the whole tree.

        Parameters
        ----------
        each : callable, optional
            Calls a function on each of many things, answers in their order; one by one by default. The highest cut
            basins share no ground, so they can be looked at at once.

        Returns
        -------
        kept : list of Candidate
            In the order of their nodes.
        turned_down : list of (node, reason)
        """
        parent = self.tree.table["parent"].to_numpy(dtype=np.int64)
        highest: list[int] = []
        down: Down = []
        stack = [int(i) for i in np.flatnonzero(parent < 0)]
        while stack:
            i = stack.pop()
            if not self.m.cut[i]:
                stack.extend(self.children[i])
            elif holds(self.m, i, self.s):
                highest.append(i)
            else:
                down.append((i, VALLEY))
                stack.extend(self.children[i])
        parts = [self._offers(i) for i in highest] if each is None else each(self._offers, highest)
        kept = [c for offers, _ in parts for c in offers]
        down += [d for _, against in parts for d in against]
        return sorted(kept, key=lambda c: c.node), sorted(down)

    def refuse(self, nodes: dict[int, str]) -> None:
        """Turn down basins for what was found out later; what lies around them is asked again at the next run.

        Parameters
        ----------
        nodes : dict of int to str
            Reason of each.
        """
        parent = self.tree.table["parent"].to_numpy(dtype=np.int64)
        self.refused |= nodes
        for i in nodes:
            at = i
            while at >= 0:
                self.answered.pop(at, None)
                at = int(parent[at])

    def _offers(self, i: int) -> tuple[list[Candidate], Down]:
        if i not in self.answered:
            self.answered[i] = ([], [(i, self.refused[i])]) if i in self.refused else self._weighed(i)
        return self.answered[i]

    def _weighed(self, i: int) -> tuple[list[Candidate], Down]:
        """What a cut basin gives: itself, the pools it is only a sheet over, or what lies inside when it fails."""
        if not holds(self.m, i, self.s):
            return self._inside(self._cut_below(i), [(i, VALLEY)])
        inner = inner_pools(self.tree, self.m, i, self.children, self.s)
        if inner:
            offers, against = self._inside(inner, [])
            if offers:
                return offers, against
        inner = self._cut_below(i) if self.m.left[i] > self.s.left_share else []
        if inner and self._lost(inner) >= self.s.explained_share * self._lost([i]):
            # much of its water still stands today, and what is lost was lost from pools inside it
            offers, against = self._inside(inner, [])
            if offers:
                return offers, against
        candidate, reason = self.judge(i)
        depth = self.m.spill[i] - self.m.floor[i]
        lower = lower_nodes(self.tree, self.m, i, self.children, max(0.05, 0.15 * depth))
        if not candidate.closes:
            # too many openings for this level: a lower pool inside it may need fewer plugs
            offers, against = self._inside(lower, [])
            wide = self.tree.table["area_m2"].to_numpy()[i] > self.s.lower_most_m2
            lost = self._lost([c.node for c in offers])
            enough = reason is not None or wide or lost >= self.s.lower_share * self._lost([i])
            if offers and enough:
                return offers, against
        if reason is None:
            return [candidate], []
        return self._inside(lower, [(i, reason)])

    def _lost(self, nodes: list[int]) -> float:
        """Water that basins held and today's ground does not [m3]."""
        volume = self.tree.table["volume_m3"].to_numpy()
        return float(sum((1.0 - self.m.left[k]) * volume[k] for k in nodes))

    def _cut_below(self, i: int) -> list[int]:
        return lower_nodes(self.tree, self.m, i, self.children, 0.0)

    def _inside(self, nodes: list[int], own: Down) -> tuple[list[Candidate], Down]:
        """Offers of nodes inside a basin; where they give none, what is said of the basin itself stands for them."""
        parts = [self._offers(k) for k in nodes]
        offers = [c for part, _ in parts for c in part]
        against = [d for _, part in parts for d in part]
        if own and own[0][1] == PLUGGED:
            # the plug holds what lies inside as well, unless water gets out over the ground
            offers = [c for c in offers if self.open_as_surveyed(c)]
        return offers, own + against if offers or not own else own


__all__ = ["VALLEY", "Picker"]
