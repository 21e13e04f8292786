"""Science, risk and the measures of a swarm by adding up every outcome; written apart from their definitions.

Several shared-failure groups, delivered quality as a distribution, classes as a distribution. Nothing of swarm is
used; classes and matches of bodies come from the catalogue room. Every combination of what each target's
probes can come to is a row of one table: plain products, no recursion over counts.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np

from targets.catalogue.worth import body_matches, class_chances


class PlainSwarm:
    """Outcomes of plans, given as row numbers of the opportunity table.

    groups : (share of a failure that strikes the whole group, set of member opportunities) of each
    """

    def __init__(
        self, study: Any, opportunities: Any, targets: Any, *, judged: Any, works: Any, groups: list
    ) -> None:
        self.study, self.judged, self.works, self.groups = study, judged, works, groups
        self.rows = opportunities.to_pylist()
        self.labels, self.classes = class_chances(targets)
        self.matches = [body_matches(targets, row.where) for row in study.science.rows]
        self.levels = sorted({row.quality_min for row in study.science.rows})

    def outcomes(self, plan: list[int]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(chance (n,), counts of the rows (n, r), number of probes that returned anything (n,))."""
        common = [
            share * min((1 - self.works[o] for o in plan if o in members), default=0.0)
            for share, members in self.groups
        ]
        parts = []
        for failed in itertools.product((False, True), repeat=len(self.groups)):
            chance = np.prod([c if f else 1 - c for c, f in zip(common, failed, strict=True)])
            if chance > 0:
                table = self.in_state(plan, failed, common)
                parts.append((chance * table[0], *table[1:]))
        return tuple(np.concatenate(columns) for columns in zip(*parts, strict=True))

    def in_state(self, plan: list[int], failed: tuple[bool, ...], common: list[float]) -> tuple:
        chance, counts = np.ones(1), np.zeros((1, len(self.study.science.rows) + 1), dtype=int)
        for target in sorted({self.rows[o]["target_index"] for o in plan}):
            visitors = [o for o in plan if self.rows[o]["target_index"] == target]
            more = self.target_outcomes(target, visitors, failed, common)
            more_chance = np.array(list(more.values()))
            more_counts = np.array(list(more.keys()), dtype=int)
            chance = np.outer(chance, more_chance).ravel()
            counts = (counts[:, None, :] + more_counts[None, :, :]).reshape(len(chance), -1)
        return chance, counts[:, :-1], counts[:, -1]

    def target_outcomes(self, target: int, visitors: list[int], failed: tuple, common: list[float]) -> dict:
        """Chance of each vector (counts of the rows, probes with data) of one target's probes."""
        table: dict[tuple[int, ...], float] = {}
        for label, class_chance in zip(self.labels, self.classes[target], strict=True):
            if class_chance == 0:
                continue
            each = [self.probe_outcomes(o, label, failed, common) for o in visitors]
            for combination in itertools.product(*(outcome.items() for outcome in each)):
                vector = tuple(int(n) for n in np.sum([v for v, _ in combination], axis=0))
                chance = float(class_chance) * float(np.prod([p for _, p in combination]))
                table[vector] = table.get(vector, 0.0) + chance
        return table

    def probe_outcomes(self, o: int, label: str, failed: tuple, common: list[float]) -> dict:
        nothing = (0,) * (len(self.study.science.rows) + 1)
        own = self.works[o]
        for (_, members), lost, c in zip(self.groups, failed, common, strict=True):
            if o in members:
                if lost:
                    return {nothing: 1.0}
                own /= 1 - c
        home = own * float(self.judged.chance_returned[o])
        table = {nothing: 1 - home}
        at_least = [*(float(p) for p in self.judged.chance_quality[o]), 0.0]
        below = 1 - at_least[0]
        nothing_good = (*nothing[:-1], 1)
        table[nothing_good] = table.get(nothing_good, 0.0) + home * below
        for k, quality in enumerate(self.levels):
            rows = [self.satisfies(o, r, label, quality) for r in range(len(self.study.science.rows))]
            vector = (*(int(hit) for hit in rows), 1)
            table[vector] = table.get(vector, 0.0) + home * (at_least[k] - at_least[k + 1])
        return table

    def satisfies(self, o: int, r: int, label: str, quality: float) -> bool:
        row = self.study.science.rows[r]
        right_class = row.where.taxonomy is None or label in row.where.taxonomy
        return bool(
            right_class
            and quality >= row.quality_min
            and self.matches[r][self.rows[o]["target_index"]]
            and self.rows[o]["kind"] == row.where.kind
        )

    # --- what follows from the outcomes -----------------------------------------------------------------------

    def science_of(self, counts: np.ndarray) -> np.ndarray:
        rows = self.study.science.rows
        weights = np.array([row.weight for row in rows])
        baselines = np.array([row.baseline for row in rows])
        return (np.minimum(counts, baselines) / baselines) @ weights / weights.sum()

    def values(self, plan: list[int]) -> dict[str, float]:
        rows = self.study.science.rows
        chance, counts, home = self.outcomes(plan)
        science = self.science_of(counts)
        short = (counts < [row.threshold for row in rows]).any(axis=1)
        full = (counts >= [row.baseline for row in rows]).all(axis=1)
        return {
            "science": float(chance @ science),
            "risk": float(chance[short].sum()),
            "p_baseline": float(chance[full].sum()),
            "p_none": float(chance[home == 0].sum()),
            "cvar": worst_tenth(science, chance),
            "sum": float(chance.sum()),
        }


def worst_tenth(values: np.ndarray, chance: np.ndarray) -> float:
    """Mean of the lowest tenth: the integral of the quantile function from 0 to 0.1, over 0.1."""
    order = np.argsort(values, kind="stable")
    edges = np.concatenate([[0.0], np.cumsum(chance[order])])
    widths = np.clip(np.minimum(edges[1:], 0.1) - np.minimum(edges[:-1], 0.1), 0.0, None)
    return float(widths @ values[order] / 0.1)
