"""Studies of seconds whose mothership is to be chosen."""

from tests.helpers.batch_of_four import BASE

GRID = """
[mothership.choices]
grid = { "mothership.mean_anomaly_deg" = [15.0, 25.0, 40.0] }
keep = 2
"""
ONE = """
[mothership.choices]
grid = { "mothership.mean_anomaly_deg" = [15.0] }
"""
NO_BUDGET = """
[mothership.retarget]
dates = ["2031-05-01 TDB"]
budget_m_s = 0.0
"""
BURNS = """
[mothership.retarget]
dates = ["2031-03-03 TDB"]
budget_m_s = 300.0
isp_s = 300.0
candidates = 2
"""


def written(folder, *more, base=BASE):
    """The base study with sections added, in `folder`; returns its path."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "study.toml"
    path.write_text(base + "".join(more), encoding="utf-8")
    return path
