"""The order of targets under other weights: worked by hand, against scipy, and against single probes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import rankdata, spearmanr

from swarm.decide.sensitivity import rank_correlation, sensitivity, top_targets
from swarm.run.workers import Pool
from tests.helpers.enumerated_plans import case
from tests.helpers.plain_evaluator import PlainEvaluator

pytestmark = pytest.mark.usefixtures("judged_as_aimed")


def test_five_places_with_one_swap_worked_by_hand():
    # ranks differ by 1 twice: 1 - 6 (1 + 1) / (5 (25 - 1)) = 0.9
    assert rank_correlation(np.array([5.0, 4, 3, 2, 1]), np.array([4.0, 5, 3, 2, 1])) == pytest.approx(0.9)
    assert rank_correlation(np.array([3.0, 2, 1]), np.array([1.0, 2, 3])) == pytest.approx(-1.0)


def test_ties_have_their_mean_rank_worked_by_hand():
    # ranks 1, 2, 3 against 1.5, 1.5, 3: covariance 0.75 / 2 x 2 = 1.5; variances 2 and 1.5: 1.5 / sqrt(3)
    assert rank_correlation(np.array([1.0, 2, 3]), np.array([1.0, 1, 3])) == pytest.approx(1.5 / np.sqrt(3.0))


def test_an_order_that_means_nothing_is_none():
    assert rank_correlation(np.array([1.0]), np.array([1.0])) is None
    assert rank_correlation(np.array([1.0, 1.0]), np.array([1.0, 2.0])) is None


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=3, max_size=20))
def test_it_is_the_correlation_of_the_ranks(pairs):
    before, after = (np.array(side, dtype=float) for side in zip(*pairs, strict=True))
    found = rank_correlation(before, after)
    if len(set(before)) == 1 or len(set(after)) == 1:
        assert found is None
        return
    assert found == pytest.approx(np.corrcoef(rankdata(before), rankdata(after))[0, 1])


def test_the_twenty_best_of_thirty_and_none_that_is_worth_nothing():
    worth = np.arange(30.0)
    assert top_targets(worth).tolist() == list(range(29, 9, -1))
    assert top_targets(np.array([0.0, 2.0, 0.0, 2.0])).tolist() == [1, 3]


@pytest.mark.parametrize("seed", [3, 4])
def test_the_column_is_that_of_single_probes(seed):
    """Spearman of scipy on what the plain evaluator says a single probe is worth at each target."""
    study, run, plan = case(seed=seed, leave_one_out=False)
    rows = sensitivity(study, run, plan=plan, catalogue=None, pool=Pool()).table.to_pylist()
    names = run.opportunities["target"].to_pylist()
    burns = run.opportunities["burn_m_s"].to_numpy()

    def worth(one):
        evaluate = PlainEvaluator(one, run.opportunities, run.targets)
        best = dict.fromkeys(names, 0.0)
        for k, name in enumerate(names):
            if burns[k] <= one.probe.burn_limit_m_s:
                best[name] = max(best[name], round(evaluate([k])[0], 12))
        return best

    before, checked = worth(study), 0
    for row in rows:
        if not row["factor"].startswith("weight of "):
            assert row["rank_correlation"] is None
            continue
        changed = [
            one.model_copy(update={"weight": one.weight * (0.7 if row["side"] == "low" else 1.3)})
            if row["factor"] == f"weight of {one.name}"
            else one
            for one in study.science.rows
        ]
        other = study.model_copy(
            update={"science": study.science.model_copy(update={"rows": tuple(changed)})}
        )
        after = worth(other)
        kept = [name for name in before if before[name] > 0.0]
        assert 3 <= len(kept) <= 20
        expected = spearmanr([before[name] for name in kept], [after[name] for name in kept]).statistic
        assert row["rank_correlation"] == pytest.approx(expected, abs=1e-9)
        checked += 1
    assert checked == 2 * len(study.science.rows)
