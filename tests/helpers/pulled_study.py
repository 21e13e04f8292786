"""A mothership in the belt that feels the planets, and a study of it."""

from pathlib import Path

from swarm.study.schema import Study, study_from

START_JD = 2462000.5
ELEMENTS = {
    "a_au": 2.25,
    "e": 0.2,
    "i_deg": 3.0,
    "node_deg": 40.0,
    "argp_deg": 70.0,
    "mean_anomaly_deg": 10.0,
}


def a_study(mothership: dict, *, base: Path = Path(), limit_m_s: float = 150.0, days: float = 900.0) -> Study:
    study = study_from(
        {
            "study": {"name": "pulled", "start": START_JD, "end": START_JD + days},
            "catalogue": {"format": "invented", "bodies": 60_000, "seed": 8},
            "mothership": mothership,
            "probe": {"count": 4, "wet_mass_kg": 12.0, "burn_limit_m_s": limit_m_s, "spring_m_s": 0.0},
            "search": {"arc_min_days": 60.0, "arc_max_days": 500.0, "slot_days": 25.0},
            "science": {"rows": [{"name": "any"}]},
        }
    )
    study._base = base
    return study
