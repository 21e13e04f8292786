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


def few_bodies(folder, *, seed, budget_m_s):
    """A study of 200 bodies that all count the same, with 40 burns to be proposed; returns its path.

    Within a wider reach than the base, so that there are some; the burn is soon after the start: rows whose arcs would
    span it are lost, so a late one has little to gain.
    """
    text = BURNS.replace("budget_m_s = 300.0", f"budget_m_s = {budget_m_s}")
    text = text.replace("candidates = 2", "candidates = 40")
    path = written(folder, text)
    body = path.read_text(encoding="utf-8").replace("bodies = 2000", f"bodies = 200\nseed = {seed}")
    body = body.replace("burn_limit_m_s = 1200.0", "burn_limit_m_s = 2500.0")
    body = body.replace("slot_days = 60.0", "slot_days = 20.0")
    body = body.split("[[science.rows]]")[0] + '[[science.rows]]\nname = "any"\n' + text
    path.write_text(body, encoding="utf-8")
    return path
