"""A study as one object: every section, and the folder that its paths start from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, PrivateAttr, Strict, model_validator

from swarm.study.fields import Section
from swarm.study.sections.accounts import CostSettings, LaunchSettings, StationSettings
from swarm.study.sections.approach import ApproachSettings, MassiveSettings
from swarm.study.sections.decisions import CompareSettings, SensitivitySettings
from swarm.study.sections.delivery import (
    DeliverySettings,
    KnowledgeSettings,
    MarginSettings,
    RefineSettings,
)
from swarm.study.sections.designs import DesignSettings, ProtectionSettings
from swarm.study.sections.mission import CatalogueSettings, MothershipSettings, StudySettings
from swarm.study.sections.probe import ProbeSettings
from swarm.study.sections.science import ObservingSettings, ScienceSettings
from swarm.study.sections.search import ConstraintSettings, OptimizeSettings, SearchSettings
from swarm.study.sections.survival import SurvivalSettings

# What the only design of a study with [probe] is called.
ONE_DESIGN = "probe"
# Keys of a design that [probe] does not have.
OF_DESIGNS = ("name", "takes", "instruments", "entry", "stages")


class Study(Section):
    """One question, as understood. `base` is the folder that relative paths start from.

    With [[designs]] there is no [probe]: `probe` is then the first design with the count of all of them, for what is
    asked of the swarm as a whole; whatever is asked of an opportunity goes through `by_design`.
    """

    study: StudySettings
    catalogue: CatalogueSettings
    mothership: MothershipSettings
    probe: ProbeSettings
    designs: Annotated[tuple[DesignSettings, ...], Strict(False)] = Field(default=(), max_length=20)
    delivery: DeliverySettings = Field(default_factory=DeliverySettings)
    knowledge: KnowledgeSettings = Field(default_factory=KnowledgeSettings)
    search: SearchSettings = Field(default_factory=SearchSettings)
    constraints: ConstraintSettings = Field(default_factory=ConstraintSettings)
    protection: ProtectionSettings = Field(default_factory=ProtectionSettings)
    science: ScienceSettings
    survival: SurvivalSettings = Field(default_factory=SurvivalSettings)
    observing: ObservingSettings = Field(default_factory=ObservingSettings)
    margins: MarginSettings = Field(default_factory=MarginSettings)
    optimize: OptimizeSettings = Field(default_factory=OptimizeSettings)
    refine: RefineSettings = Field(default_factory=RefineSettings)
    compare: CompareSettings = Field(default_factory=CompareSettings)
    sensitivity: SensitivitySettings | None = Field(default=None)
    massive: MassiveSettings | None = Field(default=None)
    launch: LaunchSettings | None = Field(default=None)
    cost: CostSettings | None = Field(default=None)
    stations: StationSettings = Field(default_factory=StationSettings)
    approach: Annotated[tuple[ApproachSettings, ...], Strict(False)] = Field(default=(), max_length=50)

    _base: Path = PrivateAttr(default=Path("."))

    @property
    def base(self) -> Path:
        return self._base

    @model_validator(mode="before")
    @classmethod
    def _probe_of_designs(cls, data: Any) -> Any:
        """Where there are designs and no [probe], take the first with the count of all."""
        designs = data.get("designs") if isinstance(data, dict) else None
        if not isinstance(designs, list) or not designs or "probe" in data:
            return data
        if not all(isinstance(design, dict) for design in designs):
            return data
        first = {key: value for key, value in designs[0].items() if key not in OF_DESIGNS}
        counts = [design.get("count") for design in designs]
        if all(type(count) is int for count in counts):
            first["count"] = sum(counts)
        return {**data, "probe": first}

    @property
    def by_design(self) -> dict[str, Study]:
        """The question asked of each design alone, by its name; of [probe] where there are no designs."""
        if not self.designs:
            return {ONE_DESIGN: self}
        return {design.name: self._alone(design) for design in self.designs}

    def of_design(self, name: str) -> Study:
        """The question asked of one design alone; the study itself where it has [probe]."""
        return self.by_design[name] if self.designs else self

    def _alone(self, design: DesignSettings) -> Study:
        return self._with({"probe": design, "designs": ()})

    def with_keys(self, section: str, **changed: Any) -> Study:
        """The same question with keys of one section changed; keys of the probe in every design, but its count."""
        update: dict[str, Any] = {section: getattr(self, section).model_copy(update=changed)}
        if section == "probe" and self.designs:
            of_each = {key: value for key, value in changed.items() if key != "count"}
            update["designs"] = tuple(design.model_copy(update=of_each) for design in self.designs)
        return self._with(update)

    def with_designs(self, designs: tuple[DesignSettings, ...]) -> Study:
        """The same question with other designs."""
        return self._with({"designs": designs})

    def with_burn_limits(self, share: float) -> Study:
        """The same question with the burn limit of every design multiplied."""
        limited = [
            each.model_copy(update={"burn_limit_m_s": each.burn_limit_m_s * share})
            for each in (self.probe, *self.designs)
        ]
        return self._with({"probe": limited[0], "designs": tuple(limited[1:])})

    def _with(self, update: dict[str, Any]) -> Study:
        same = self.model_copy(update=update)
        same._base = self._base
        return same

    def with_seed(self, seed: int | None) -> Study:
        """The same question with another seed; `None` leaves it."""
        if seed is None:
            return self
        return self.with_keys("study", seed=seed)
