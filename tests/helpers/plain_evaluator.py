"""Science, propellant and risk of a plan by adding up every outcome. Slow, plain, and written apart.

Nothing of swarm is used here: formulas are written again from their definitions, so an error would have to be made
twice. Bodies' classes, sizes and matches come from the catalogue room, which has tests of its own.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

from scipy.stats import chi

from targets.catalogue.worth import body_matches, class_chances, diameters


class PlainEvaluator:
    """Evaluates plans, given as row numbers of the opportunity table."""

    def __init__(self, study: Any, opportunities: Any, targets: Any) -> None:
        self.study = study
        self.rows = opportunities.to_pylist()
        self.labels, self.classes = class_chances(targets)
        self.size_km = diameters(targets)[0]
        self.matches = [body_matches(targets, row.where) for row in study.science.rows]

    def __call__(
        self, plan: list[int], success: dict[int, float] | None = None
    ) -> tuple[float, float, float]:
        works = {o: self.study.survival.success if success is None else success[o] for o in plan}
        science, risk = self.expectations(plan, works)
        return science, sum(self.propellant_kg(o) for o in plan), risk

    # --- chances ------------------------------------------------------------------------------------------

    def expectations(self, plan: list[int], works: dict[int, float]) -> tuple[float, float]:
        science_rows = self.study.science.rows
        total_weight = sum(row.weight for row in science_rows)
        common = self.study.survival.shared_fraction * min((1 - works[o] for o in plan), default=0.0)
        science = risk = 0.0
        for chance, counts in self.outcomes(plan, works, common):
            if any(n < row.threshold for n, row in zip(counts, science_rows, strict=True)):
                risk += chance
            for n, row in zip(counts, science_rows, strict=True):
                science += chance * row.weight * min(n, row.baseline) / row.baseline / total_weight
        return science, risk

    def outcomes(self, plan: list[int], works: dict[int, float], common: float) -> Any:
        """Every (chance, counts of the rows): the shared failure, and each combination over the targets."""
        none = (0,) * len(self.study.science.rows)
        if common > 0:
            yield common, none
        targets = sorted({self.rows[o]["target_index"] for o in plan})
        tables = [self.target_outcomes(t, plan, works, common) for t in targets]
        for combination in itertools.product(*(table.items() for table in tables)):
            chance, counts = 1.0 - common, none
            for gained, p in combination:
                chance *= p
                counts = tuple(a + b for a, b in zip(counts, gained, strict=True))
            yield chance, counts

    def target_outcomes(self, target: int, plan: list[int], works: dict[int, float], common: float) -> dict:
        """Chance of each vector of counts that the probes of one target add, no shared failure having happened."""
        visitors = [o for o in plan if self.rows[o]["target_index"] == target]
        table: dict[tuple[int, ...], float] = {}
        for label, class_chance in zip(self.labels, self.classes[target], strict=True):
            for states in itertools.product((True, False), repeat=len(visitors)):
                chance, counts = float(class_chance), [0] * len(self.study.science.rows)
                for o, alive in zip(visitors, states, strict=True):
                    own = works[o] / (1.0 - common) if common < 1.0 else 0.0
                    chance *= own if alive else 1.0 - own
                    if alive:
                        counts = [n + self.satisfies(o, k, label) for k, n in enumerate(counts)]
                table[tuple(counts)] = table.get(tuple(counts), 0.0) + chance
        return table

    def satisfies(self, o: int, k: int, label: str) -> bool:
        row, opportunity = self.study.science.rows[k], self.rows[o]
        returned = opportunity["sun_earth_probe_deg"] >= self.study.constraints.sun_earth_probe_min_deg
        right_class = row.where.taxonomy is None or label in row.where.taxonomy
        right_body = self.matches[k][opportunity["target_index"]]
        return bool(
            returned
            and right_class
            and right_body
            and opportunity["kind"] == row.where.kind
            and self.quality(o) >= row.quality_min
        )

    # --- encounter and propellant ---------------------------------------------------------------------------

    def quality(self, o: int) -> float:
        probe, opportunity = self.study.probe, self.rows[o]
        size_km = float(self.size_km[opportunity["target_index"]])
        aim_km = opportunity["v_rel_km_s"] / (probe.slew_limit_deg_s * math.pi / 180)
        aim_km = max(aim_km, probe.keepout_km + size_km / 2)
        pixels = size_km / (probe.camera_ifov_urad * 1e-6 * aim_km)
        resolution = min(max(math.log10(pixels / 10.0), 0.0), 1.0)
        # turning the aim point round the target gives any phase from |90 - a| to 180 - |90 - a|: the best is taken
        least = abs(90.0 - opportunity["phase_in_deg"])
        phase = min(max(10.0, least), 180.0 - least)
        if phase < 10.0:
            lit = phase / 10.0
        elif phase <= 110.0:
            lit = 1.0
        else:
            lit = max(0.0, (120.0 - phase) / 10.0)
        return resolution * lit

    def total_m_s(self, burn_m_s: float) -> float:
        probe, margins = self.study.probe, self.study.margins
        largest = max(probe.execution_proportional, probe.execution_pointing_mrad / 1000) * burn_m_s
        dv99 = float(chi(3).ppf(0.99)) * math.sqrt(probe.execution_fixed_m_s**2 + largest**2)
        attitude = margins.attitude_m_s * (1 + margins.attitude_fraction)
        return burn_m_s * (1 + margins.deterministic_fraction) + dv99 + attitude

    def propellant_kg(self, o: int) -> float:
        probe = self.study.probe
        exhaust_m_s = 9.80665 * probe.isp_s
        dry_kg = probe.wet_mass_kg * math.exp(-self.total_m_s(probe.burn_limit_m_s) / exhaust_m_s)
        return dry_kg * (math.exp(self.total_m_s(self.rows[o]["burn_m_s"]) / exhaust_m_s) - 1)
