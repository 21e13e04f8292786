"""The table of motherships of a study that leaves the path open; its front is `front`, with the mothership named."""

from __future__ import annotations

from swarm.run.tables.declaration import Table, flag, real, text, whole

CARRIERS = "carriers"
CARRIER_TABLES = (
    Table(
        "carriers",
        CARRIERS,
        "a mothership that may be flown",
        (
            whole("carrier", "number of the mothership, in the order of listing"),
            text("label", "what it differs in"),
            text("changes", "the keys it differs in, as JSON"),
            real("expected", "-", "targets that density, reach and speed make one expect"),
            whole("rank", "place by that, from 1; 0 where it is no candidate"),
            flag("kept", "whether it was searched"),
            text("burns", "its own burns: date and m/s; empty where it has none"),
            real("burn_m_s", "m/s", "their sum"),
            real("propellant_kg", "kg", "what they take"),
            whole("opportunities", "of its run; 0 where it was not searched"),
            whole("targets", "with opportunities"),
            real("science_best", "-", "most science of its plans", gaps=True),
            *(
                real(
                    f"science_at_level_{k}",
                    "-",
                    f"the same within {25 * (k + 1)} % of the joined front's most propellant",
                    gaps=True,
                )
                for k in range(4)
            ),
            real(
                "propellant_best_kg",
                "kg",
                "of the plan with the most science, its own burns included",
                gaps=True,
            ),
            whole("plans", "plans of the joined front that fly it"),
            text("note", "why it was not searched, or what came of it; empty where there is nothing to say"),
        ),
    ),
    Table(
        "choice_map",
        CARRIERS,
        "a mothership that was searched and a longest flight of its probes",
        (
            whole("carrier", "number of the mothership"),
            real("arc_max_days", "d", "no probe flies longer from its burn to its encounter"),
            whole("targets", "that are met within it"),
            real(
                "science", "-", "of the best of its plans whose probes all fly no longer; 0 where none does"
            ),
            real("propellant_kg", "kg", "of that plan, the mothership's own burns included"),
        ),
    ),
)
