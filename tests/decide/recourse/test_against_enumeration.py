"""Recourse against sums over all outcomes and all re-assignments, written plainly (`plain_recourse`)."""

import numpy as np
import pytest

from swarm.encounter.propellant import probe_masses, propellant_kg
from swarm.plan.data import hardware_of
from tests.helpers.flown_as_aimed import recourse_of as recourse
from tests.helpers.flown_as_aimed import without_errors
from tests.helpers.plain_evaluator import PlainEvaluator
from tests.helpers.plain_recourse import PlainRecourse
from tests.helpers.small_cases import START_JD_TDB, make_opportunities, make_study, make_targets

TAXONOMY = ["C", "S", "", "B", "S"]
LOT = {
    "name": "lot", "kind": "build-lot", "shared_fraction": 0.3,
    "release_from": START_JD_TDB + 100.0, "release_until": START_JD_TDB + 700.0,
}  # fmt: skip
SURVIVALS = {
    "simple": {"success": 0.7, "shared_fraction": 0.2},
    "two groups": {"success": 0.7, "shared_fraction": 0.2, "groups": [LOT]},
    "weibull": {"model": "weibull", "shared_fraction": 0.2, "groups": [LOT]},
    "certain": {"success": 1.0, "shared_fraction": 0.5},
}


def case(name, *, seed=5, rows=11):
    study = make_study(
        probe={"count": 3, "checkout_days": 3.0}, mothership={"mass_kg": 600.0}, survival=SURVIVALS[name],
        constraints={"release_spacing_days": 15.0, "sun_earth_probe_min_deg": 0.0},
    )  # fmt: skip
    release = START_JD_TDB + np.random.default_rng(seed).permutation(10.0 * np.arange(rows) * 8.0)
    table = make_opportunities([k % 5 for k in range(rows)], seed=seed, release_jd_tdb=release,
                               burn_jd_tdb=release + 3.0, encounter_jd_tdb=release + 200.0)  # fmt: skip
    bodies = make_targets(TAXONOMY)
    judged = without_errors(study, table, bodies)
    # one probe's corrections need more than any probe carries
    dv99 = judged.dv99_m_s.copy()
    dv99[3] = 500.0
    judged = judged._replace(dv99_m_s=dv99)
    works = hardware_of(study, table, judged.home_days)
    everyone = set(range(rows))
    groups = [(study.survival.shared_fraction, everyone)]
    for group in study.survival.groups:
        members = {o for o in everyone if group.release_from <= release[o] < group.release_until}
        groups.append((group.shared_fraction, members))
    plain = PlainRecourse(study, table, bodies, works, groups)
    return study, table, bodies, judged, plain


def a_plan(plain, rows):
    """Three probes to different targets, in order of release, the earliest possible."""
    order = sorted(range(rows), key=lambda o: plain.rows[o]["release_jd_tdb"])
    plan = []
    for o in order:
        if o != 3 and plain.fits_together([*plan, o]) and len(plan) < 3:
            plan.append(o)
    return plan


@pytest.mark.parametrize("seed", [5, 6])
@pytest.mark.parametrize("name", SURVIVALS)
@pytest.mark.parametrize("exact_sets", [10_000, 0], ids=["every set", "search"])
def test_a_dead_check_out_costs_and_recovers_what_enumeration_says(name, seed, exact_sets):
    study, table, bodies, judged, plain = case(name, seed=seed)
    plan = a_plan(plain, 11)
    found = recourse(study, table, bodies, np.array(plan), judged=judged, exact_sets=exact_sets)
    usable = [o for o in range(11) if o != 3]
    for row, dead in zip(found.probes.to_pylist(), plan, strict=True):
        if name != "certain":  # what cannot fail is left out, there is nothing to condition on
            assert row["science_without"] == pytest.approx(plain.science_given_dead(plan, dead), abs=1e-12)
            assert row["science_reassigned"] == pytest.approx(
                plain.best_after_dead(plan, dead, usable), abs=1e-12
            )
        assert row["science_without"] <= min(row["science"], row["science_reassigned"]) + 1e-12
    gains = found.probes["science_reassigned"].to_numpy() - found.probes["science_without"].to_numpy()
    assert gains.max() > 0.01  # there is something to recover
    assert gains[-1] == 0.0  # nobody is aboard any more


def test_a_probe_that_cannot_fail_is_just_left_out():
    study, table, bodies, judged, plain = case("certain")
    plan = a_plan(plain, 11)
    found = recourse(study, table, bodies, np.array(plan), judged=judged)
    for row, dead in zip(found.probes.to_pylist(), plan, strict=True):
        assert row["science_without"] == pytest.approx(
            plain.evaluator([o for o in plan if o != dead], dict.fromkeys(plan, 1.0))[0], abs=1e-12
        )


def test_a_shared_failure_is_likelier_once_a_probe_is_dead():
    # simple model, from Bayes by hand: P(shared | dead) = fraction, so science is (1 - fraction) times what the
    # others give without it; without conditioning it would be (1 - fraction q) times that
    study, table, bodies, judged, plain = case("simple")
    plan = a_plan(plain, 11)
    found = recourse(study, table, bodies, np.array(plan), judged=judged)
    others = plain.evaluator(plan[1:])[0]
    by_hand = others / (1 - 0.2 * 0.3) * (1 - 0.2)
    assert found.probes["science_without"][0].as_py() == pytest.approx(by_hand, abs=1e-12)


@pytest.mark.parametrize("seed", [5, 6])
def test_alternates_and_the_last_date_to_decide(seed):
    study, table, bodies, judged, plain = case("simple", seed=seed)
    plan = a_plan(plain, 11)
    found = recourse(study, table, bodies, np.array(plan), number=7, judged=judged)
    assert propellant_kg([150.0], study)[0] == pytest.approx(probe_masses(study).usable_kg)  # full tanks
    evaluator = PlainEvaluator(study, table, bodies)
    for row, own in zip(found.probes.to_pylist(), plan, strict=True):
        rest = [o for o in plan if o != own]
        ahead = [
            o for o in range(11)
            if o != 3
            and plain.rows[o]["release_jd_tdb"] >= plain.rows[own]["release_jd_tdb"]
            and plain.fits_together([*rest, o])
            and any(evaluator.satisfies(o, k, label) for k in range(3) for label in evaluator.labels
                    if evaluator.classes[plain.rows[o]["target_index"]][evaluator.labels.index(label)] > 0)
        ]  # fmt: skip
        burns = [plain.rows[o]["burn_jd_tdb"] for o in {*ahead, own}]
        others = {plain.rows[o]["target"] for o in ahead} - {plain.rows[own]["target"]}
        assert row["plan"] == 7
        assert row["decide_by_jd_tdb"] == max(burns)
        assert row["burn_by_jd_tdb"] <= row["decide_by_jd_tdb"]
        assert row["alternates"] == len(others)
        listed = [one for one in found.alternates.to_pylist() if one["probe"] == row["probe"]]
        assert [one["rank"] for one in listed] == list(range(len(others)))
        assert {one["target"] for one in listed} == others
        science = [one["science"] for one in listed]
        assert science == sorted(science, reverse=True)
        for one in listed:
            o = one["opportunity"] - 100
            assert one["science"] == pytest.approx(evaluator([*rest, o])[0], abs=1e-12)
            of_target = [a for a in ahead if plain.rows[a]["target"] == one["target"]]
            assert one["science"] >= max(evaluator([*rest, a])[0] for a in of_target) - 1e-12
            assert one["burn_m_s"] == plain.rows[o]["burn_m_s"]
    assert found.probes["alternates"].to_numpy().sum() > 0
