"""Expected science given a dead probe, and every re-assignment, by adding up outcomes. Nothing of swarm is used
but the settings of the study; classes and sizes come from the catalogue room (see `plain_evaluator`)."""

import itertools

from tests.helpers.plain_evaluator import PlainEvaluator


class PlainRecourse:
    """Plans are row numbers of the opportunity table; `works` has each row's chance that its hardware works.

    groups : (share of a member's failures that strikes all members, rows that are members) of each group
    """

    def __init__(self, study, opportunities, targets, works, groups):
        self.study, self.works, self.groups = study, works, groups
        self.evaluator = PlainEvaluator(study, opportunities, targets)
        self.rows = self.evaluator.rows

    def science_given_dead(self, plan, dead):
        """Bayes: all states of the groups and of each probe by itself, those in which `dead` works left out."""
        common = [
            share * min((1 - self.works[o] for o in plan if o in members), default=0.0)
            for share, members in self.groups
        ]
        total = science = 0.0
        for failed in itertools.product((False, True), repeat=len(common)):
            for alive in itertools.product((False, True), repeat=len(plan)):
                chance = 1.0
                for struck, c in zip(failed, common, strict=True):
                    chance *= c if struck else 1 - c
                working = []
                for o, fine in zip(plan, alive, strict=True):
                    own, spared = self.works[o], True
                    for struck, c, (_, members) in zip(failed, common, self.groups, strict=True):
                        if o in members:
                            own /= 1 - c
                            spared &= not struck
                    chance *= own if fine else 1 - own
                    if fine and spared:
                        working.append(o)
                if dead in working:
                    continue
                total += chance
                science += chance * self.science_of_working(working)
        return science / total

    def science_of_working(self, working):
        """Over the classes of the targets; the probes work for sure."""
        targets = sorted({self.rows[o]["target_index"] for o in working})
        science_rows = self.study.science.rows
        weights = sum(row.weight for row in science_rows)
        labels = self.evaluator.labels
        possible = [[k for k in range(len(labels)) if self.evaluator.classes[t][k] > 0] for t in targets]
        total = 0.0
        for chosen in itertools.product(*possible):
            of = dict(zip(targets, chosen, strict=True))
            chance = 1.0
            for t, k in of.items():
                chance *= self.evaluator.classes[t][k]
            for k, row in enumerate(science_rows):
                n = sum(
                    self.evaluator.satisfies(o, k, labels[of[self.rows[o]["target_index"]]]) for o in working
                )
                total += chance * row.weight * min(n, row.baseline) / row.baseline / weights
        return total

    def fits_together(self, living, dead=None):
        """Spacing of all releases, the dead probe's too; one living probe a target."""
        releases = [self.rows[o]["release_jd_tdb"] for o in [*living, *([] if dead is None else [dead])]]
        targets = [self.rows[o]["target_index"] for o in living]
        spacing = self.study.constraints.release_spacing_days
        pairs = itertools.combinations(releases, 2)
        return len(set(targets)) == len(targets) and all(abs(a - b) >= spacing for a, b in pairs)

    def best_after_dead(self, plan, dead, usable):
        """Most science of every set of `usable` rows that the probes not yet released may be given."""
        found = self.rows[dead]["release_jd_tdb"] + self.study.probe.checkout_days
        ahead = [o for o in usable if self.rows[o]["release_jd_tdb"] > found]
        kept = [o for o in plan if o != dead and self.rows[o]["release_jd_tdb"] <= found]
        places = len(plan) - 1 - len(kept)
        best = 0.0
        for size in range(places + 1):
            for chosen in itertools.combinations(ahead, size):
                living = [*kept, *chosen]
                if self.fits_together(living, dead):
                    best = max(best, self.science_given_dead([*living, dead], dead))
        return best
