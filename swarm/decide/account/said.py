"""The spreadsheet in sentences, for the terminal and the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from swarm.decide.account.launch_mass import left_kg

if TYPE_CHECKING:
    from swarm.run.folder import Run


def account_lines(run: Run) -> list[str]:
    """A sentence each: what the plan may come to, launch mass, cost, stations, releases, protection."""
    return [
        _outcomes(run), *_launch(run), *_costs(run), _stations(run), _releases(run), _protection(run)
    ]  # fmt: skip


def _outcomes(run: Run) -> str:
    rows = {row["share"]: row for row in run.read_table("outcomes").to_pylist()}
    low, middle, high = (100.0 * rows[share]["science"] for share in (0.05, 0.50, 0.95))
    how = "every outcome added up" if rows[0.50]["exact"] else "outcomes drawn"
    return (
        f"science {low:.0f} to {high:.0f} % in nine outcomes of ten, half of them at most {middle:.0f} %: survival, "
        f"delivery, data return and unknown classes at once, {how}"
    )


def _launch(run: Run) -> list[str]:
    if not run.has("launch_mass"):
        return []
    table = run.read_table("launch_mass")
    rows = {row["item"]: row["maximum_kg"] for row in table.to_pylist()}
    left, lifted = left_kg(table), rows["launch capability"]
    ends = f"{left:.1f} kg left" if left >= 0.0 else f"does not close: {-left:.1f} kg too heavy"
    return [f"launch: {rows['total']:.1f} kg with margins of {lifted:.1f} kg lifted, {ends}"]


def _costs(run: Run) -> list[str]:
    if not run.has("costs"):
        return []
    first = run.read_table("costs").slice(0, 1).to_pylist()[0]
    return [
        f"cost of {first['what']}: {first['total']:.4g} {first['unit']} (fixed {first['fixed']:.4g}, probes "
        f"{first['probes']:.4g}, mass {first['mass']:.4g}, tracking {first['tracking']:.4g}), the study's own numbers"
    ]


def _stations(run: Run) -> str:
    table, stations = run.read_table("station_load"), run.study.stations
    there = f"{stations.antennas} of {stations.hours_per_day:g} h a day"
    spans = sum(row["encounters"] >= 2 for row in table.to_pylist())
    days = run.manifest["notes"]["account"]["short_days"]
    short = f"too little on {days:.0f} days" if days > 0.0 else "enough"
    return f"antennas, {there}: {short}; encounters overlap {spans} {'time' if spans == 1 else 'times'}"


def _releases(run: Run) -> str:
    rows = run.read_table("release_attitudes").to_pylist()
    if not rows:
        return "the mothership releases nothing"
    turns = [row["turn_deg"] for row in rows[1:]]
    widest = f", turning by {max(turns):.0f} deg at most between two" if turns else ""
    places = ", ".join(str(row["place"]) for row in rows)
    return f"releases from places {places} of the dispenser{widest}"


def _protection(run: Run) -> str:
    found: dict[str, list[str]] = {}
    for row in run.read_table("protection_checklist").to_pylist():
        found.setdefault(row["category"], []).append(row["body"])
    said = "; ".join(
        f"{category}: {len(bodies)} {'body' if len(bodies) == 1 else 'bodies'}"
        for category, bodies in sorted(found.items())
    )
    return f"categories of planetary protection to bring to the responsible authority: {said or 'none'}"
