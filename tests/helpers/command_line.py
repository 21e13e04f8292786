"""The command line called in this process, and a study of seconds for it."""

from typer.testing import CliRunner

from swarm.app.cli import app

# A mothership whose probes reach some tens of bodies of an invented belt.
IN_THE_BELT = """[mothership]
kind = "elements"
epoch = "2031-03-01 TDB"
a_au = 2.5
e = 0.1
i_deg = 3.0
node_deg = 40.0
argp_deg = 120.0
mean_anomaly_deg = 15.0
"""

TINY = (
    """
[study]
name = "tiny"
seed = 3
start = "2031-03-01 TDB"
end = "2032-09-01 TDB"
[catalogue]
format = "invented"
bodies = 3000
"""
    + IN_THE_BELT
    + """[probe]
count = 4
wet_mass_kg = 12.0
burn_limit_m_s = 1200.0
[search]
arc_max_days = 300.0
slot_days = 30.0
revolutions_max = 0
chunk_bodies = 1000
[optimize]
islands = 2
population = 16
epochs = 3
generations_per_epoch = 4
levels = 6
[refine]
linear_samples = 500
full_samples = 50
recontact_samples = 3
impact_samples = 1
impact_years = 2.0
earth_years = 2.0
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


def call(*arguments: object):
    """Calls the command line; the result has exit_code, stdout, stderr."""
    return CliRunner().invoke(app, [str(argument) for argument in arguments])
