"""A study as one object: every section, and the folder that its paths start from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, PrivateAttr, Strict

from swarm.study.fields import Section
from swarm.study.sections.approach import ApproachSettings, MassiveSettings, ProtectionSettings
from swarm.study.sections.decisions import CompareSettings, SensitivitySettings
from swarm.study.sections.delivery import (
    DeliverySettings,
    KnowledgeSettings,
    MarginSettings,
    RefineSettings,
)
from swarm.study.sections.mission import CatalogueSettings, MothershipSettings, StudySettings
from swarm.study.sections.probe import ProbeSettings
from swarm.study.sections.science import ObservingSettings, ScienceSettings
from swarm.study.sections.search import ConstraintSettings, OptimizeSettings, SearchSettings
from swarm.study.sections.survival import SurvivalSettings


class Study(Section):
    """One question, as understood. `base` is the folder that relative paths start from."""

    study: StudySettings
    catalogue: CatalogueSettings
    mothership: MothershipSettings
    probe: ProbeSettings
    delivery: DeliverySettings = Field(default_factory=DeliverySettings)
    knowledge: KnowledgeSettings = Field(default_factory=KnowledgeSettings)
    search: SearchSettings = Field(default_factory=SearchSettings)
    constraints: ConstraintSettings = Field(default_factory=ConstraintSettings)
    science: ScienceSettings
    survival: SurvivalSettings = Field(default_factory=SurvivalSettings)
    observing: ObservingSettings = Field(default_factory=ObservingSettings)
    margins: MarginSettings = Field(default_factory=MarginSettings)
    optimize: OptimizeSettings = Field(default_factory=OptimizeSettings)
    refine: RefineSettings = Field(default_factory=RefineSettings)
    compare: CompareSettings = Field(default_factory=CompareSettings)
    sensitivity: SensitivitySettings | None = Field(default=None)
    massive: MassiveSettings | None = Field(default=None)
    approach: Annotated[tuple[ApproachSettings, ...], Strict(False)] = Field(default=(), max_length=50)
    protection: ProtectionSettings | None = Field(default=None)

    _base: Path = PrivateAttr(default=Path("."))

    @property
    def base(self) -> Path:
        return self._base

    def with_keys(self, section: str, **changed: Any) -> Study:
        """The same question with keys of one section changed."""
        same = self.model_copy(update={section: getattr(self, section).model_copy(update=changed)})
        same._base = self._base
        return same

    def with_seed(self, seed: int | None) -> Study:
        """The same question with another seed; `None` leaves it."""
        if seed is None:
            return self
        return self.with_keys("study", seed=seed)
