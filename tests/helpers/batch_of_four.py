"""A base study of seconds, written with a file of variations."""

from tests.helpers.command_line import IN_THE_BELT

BASE = (
    """
[study]
name = "base of a batch"
seed = 3
start = "2031-03-01 TDB"
end = "2032-09-01 TDB"
[catalogue]
format = "invented"
bodies = 2000
"""
    + IN_THE_BELT
    + """[probe]
count = 2
wet_mass_kg = 12.0
burn_limit_m_s = 1200.0
[delivery]
samples = 100
[search]
arc_max_days = 300.0
slot_days = 60.0
revolutions_max = 0
chunk_bodies = 1000
[optimize]
islands = 2
population = 16
epochs = 2
generations_per_epoch = 3
levels = 4
constraint_costs = false
[[science.rows]]
name = "large"
where = { diameter_km_min = 1.0 }
threshold = 1
baseline = 3
[[science.rows]]
name = "dark"
where = { taxonomy = ["C", "B"] }
baseline = 2
"""
)

FOUR = """
base = "study.toml"
[[variations]]
name = "as-it-is"
[[variations]]
name = "weaker"
changes = { "probe.burn_limit_m_s" = 900.0 }
[[variations]]
name = "heavier-row"
changes = { "science.rows[1].weight" = 3.0 }
[[variations]]
name = "elsewhere"
changes = { "mothership.mean_anomaly_deg" = 25.0 }
"""


def write(folder, variations, base=BASE):
    """The base study and the variations, in `folder`; returns the path of the latter."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "study.toml").write_text(base, encoding="utf-8")
    path = folder / "variations.toml"
    path.write_text(variations, encoding="utf-8")
    return path


def contents(folder):
    """Bytes of all that must not depend on how often a batch was stopped: all but the manifests."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name not in ("manifest.json", "batch.json")
    }
