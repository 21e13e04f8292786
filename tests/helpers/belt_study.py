"""A study of an invented belt that the tests of the screen share."""

from __future__ import annotations

from swarm.study.schema import Study, study_from


def belt_study(motion: str = "perturbed", **probe: object) -> Study:
    return study_from(
        {
            "study": {"name": "belt", "start": "2031-03-01 TDB", "end": "2034-03-01 TDB"},
            "catalogue": {"format": "invented", "bodies": 20_000, "seed": 3},
            "mothership": {
                "kind": "elements", "epoch": "2031-03-01 TDB", "a_au": 2.3, "e": 0.15, "i_deg": 4.0, "node_deg": 40.0,
                "argp_deg": 120.0, "mean_anomaly_deg": 15.0, "motion": motion,
            },
            "probe": {"count": 4, "wet_mass_kg": 12.0, "burn_limit_m_s": 150.0} | probe,
            "search": {"arc_min_days": 30.0, "arc_max_days": 400.0, "slot_days": 20.0, "chunk_bodies": 6000},
            "science": {"rows": [{"name": "any"}]},
        }
    )  # fmt: skip
