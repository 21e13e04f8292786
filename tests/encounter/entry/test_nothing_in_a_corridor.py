"""An approach whose corridor is empty beside others: the rest is flown, and the angles that would do are told."""

import pytest

from swarm.app.entries import corridor_lines
from swarm.decide.grounds import screens
from swarm.reach.every_kind import nothing_in_reach, screen_every_kind
from swarm.study.schema import study_from
from targets.base.errors import NothingFeasible
from targets.catalogue.reading import read_catalogue
from tests.helpers.ledum import small, written_study
from tests.helpers.serial_pool import Serial

# Edges of the shell's corridor, bisected for every clock angle (`test_entries_asked_for`).
_TOLD = "shell 15.0 to 44.2 deg"


@pytest.fixture(scope="module")
def beside(tmp_path_factory):
    """Entries too shallow and too steep, and low passes; one clock angle less, for time."""
    text = small(angles_deg="[5, 80]", clock_step_deg="180", release_days_before="[9]")
    return of_kinds(written_study(tmp_path_factory.mktemp("ledum"), text), "entry", "low-pass")


def of_kinds(study, *kinds, **more):
    """The study of some kinds alone."""
    plain = study.model_dump(mode="json", by_alias=True, exclude_unset=True) | more
    plain["approach"] = [ask for ask in plain["approach"] if ask["kind"] in kinds]
    plain["science"]["rows"] = [
        row for row in plain["science"]["rows"] if row.get("where", {}).get("kind") in kinds
    ]
    plain["designs"] = [
        design | {"takes": [kind for kind in design["takes"] if kind in kinds]}
        for design in plain["designs"]
        if set(design["takes"]) & set(kinds)
    ]
    for name in ("probe", "compare"):
        plain.pop(name, None)
    return study_from(plain)


def screened(study):
    catalogue = read_catalogue(study.catalogue, study.base).catalogue
    return screen_every_kind((study,), catalogue, pool=Serial())[0]


def test_passes_are_flown_where_no_entry_can_be(beside):
    found = screened(beside)
    assert set(found.opportunities["kind"].to_pylist()) == {"low-pass"}
    (said,) = [each for each in found.cautions if "leaves nothing" in each]
    assert said.startswith("descent: no entry of Venus is in its corridor")
    assert _TOLD in said
    # a release, two angles, two clock angles, two arrivals
    (counted,) = [each for each in found.notes if each.startswith("descent")]
    assert "8 entries asked for, 0 left, 0 of them in the corridor; 8 left out" in counted


def test_nothing_at_all_ends_with_the_angles(beside):
    alone = of_kinds(beside, "entry")
    found = screened(alone)
    assert found.opportunities.num_rows == 0
    refusal = nothing_in_reach(alone, found)
    assert _TOLD in refusal.limit
    assert "angles_deg = 5, 80" in refusal.limit


def test_another_approach_of_entries_is_flown(beside):
    """One approach in its corridor, one out of it: the second leaves no row, in the search and in `swarm corridor`."""
    plain = beside.model_dump(mode="json", by_alias=True, exclude_unset=True)
    (ask,) = (each for each in plain["approach"] if each["kind"] == "entry")
    two = of_kinds(beside, "entry", approach=[ask, ask | {"name": "steeper", "angles_deg": [30]}])
    found = screened(two)
    assert set(found.opportunities["approach"].to_pylist()) == {"steeper"}
    assert "leaves nothing" in " ".join(found.cautions)
    lines = "\n".join(corridor_lines(two))
    assert "descent: no entry of Venus is in its corridor: this approach leaves nothing" in lines
    assert "steeper: Venus, passage 1" in lines
    with pytest.raises(NothingFeasible, match="no entry of Venus"):
        corridor_lines(of_kinds(beside, "entry"))


def test_a_screen_of_a_slip_goes_on_without_the_entries(beside):
    """What the corridor leaves out does not empty a changed study that is screened again."""
    asked = {"slips_days": [0.5], "burn_limit_fraction": 0.1}
    changed = of_kinds(beside, "entry", "low-pass", sensitivity=asked)
    catalogue = read_catalogue(changed.catalogue, changed.base).catalogue
    for one in screens(changed, catalogue, Serial()):
        assert one.screening is not None, one.side
        assert set(one.screening.opportunities["kind"].to_pylist()) == {"low-pass"}
