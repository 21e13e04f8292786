"""The study file: one question, one TOML file. Other rooms take what they need of it from here.

The sections (`swarm.study.sections`) are the schema: attribute names are the keys of the file, each key says its unit,
limits, default and source. Unknown keys are refused. Dates are held as Julian dates TDB (float), whatever way they were
written.
"""

from swarm.study.fields import FIRST_JD_TDB, LAST_JD_TDB
from swarm.study.named_files import require_files
from swarm.study.plausible import burn_limit_note, study_notes
from swarm.study.sections.decisions import SensitivitySettings
from swarm.study.sections.delivery import MarginSettings
from swarm.study.sections.mission import CatalogueSettings, Leg
from swarm.study.sections.probe import ProbeSettings
from swarm.study.sections.science import ScienceRow
from swarm.study.sections.survival import SharedGroup, SurvivalSettings
from swarm.study.shown import study_rows
from swarm.study.study_file import read_study, require_searched, require_supported, study_from
from swarm.study.whole_study import Study

__all__ = [
    "FIRST_JD_TDB",
    "LAST_JD_TDB",
    "CatalogueSettings",
    "Leg",
    "MarginSettings",
    "ProbeSettings",
    "ScienceRow",
    "SensitivitySettings",
    "SharedGroup",
    "Study",
    "SurvivalSettings",
    "burn_limit_note",
    "read_study",
    "require_files",
    "require_searched",
    "require_supported",
    "study_from",
    "study_notes",
    "study_rows",
]
