"""Entries judged: the same from the shots and from their table, each alone; depth, share, links and limits by hand."""

import math
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pytest

from swarm.encounter.cases import spare_km_s
from swarm.encounter.entry.entry_flown import descent_of
from swarm.encounter.entry.entry_judge import judge_of_entries
from swarm.encounter.entry.entry_judging import judge_entries
from swarm.encounter.entry.entry_table import cases_of_entries, entry_columns, entry_fits
from swarm.encounter.entry.entry_worth import depth_score, worth_of_entries
from swarm.encounter.entry.setting import setting_at
from swarm.encounter.pass_table import PassMet, met_columns
from swarm.encounter.reasons import AIR_LOAD, OK, UNHEARD
from swarm.reach.approach.entry_rows import (
    covered_by_entries_s,
    field_for_entries,
    shot_entries,
)
from swarm.reach.approach.scene import approaches_of, scene_of
from swarm.study.sections.science import Where
from targets.base.constants import DAY_S
from tests.helpers.ledum import small, written_study


class Passage:
    """The small study at its passage of Venus: shots, setting, judgement, and the table made of them."""

    def __init__(self, study):
        (ask,) = approaches_of(study, "entry")
        self.study, self.design = study, study.designs[1]
        self.alone = study.of_design("shell")
        with scene_of(study) as scene:
            (_, passage), *_ = scene.asked(ask)
            self.setting = setting_at(scene, ask, self.design, passage)
            self.asked = scene.asked_entries(ask, passage, checkout_days=self.design.checkout_days)
            self.field, self.covered = (
                field_for_entries(self.asked, scene.ephemeris),
                covered_by_entries_s(self.asked),
            )
            self.rows = shot_entries(self.asked, self.field, self.covered)
            self.corridor = self.setting.corridor()
            self.judged = judge_entries(self.rows, self.setting, self.corridor, (0.0, 0.5))
            shots, which = self.rows.shots, self.judged.rows
            met = PassMet(
                "entry", passage.body, self.rows.release_s[which], self.rows.burn_s[which], shots.burn_km_s[which],
                shots.entry_s[which], shots.relative[which, 3:], shots.s[which],
            )  # fmt: skip
            columns = met_columns(self.alone, scene, met) | entry_columns(
                "descent", 1, scene, self.rows, self.judged
            )
            self.table = pa.table(columns)


@pytest.fixture(scope="module")
def venus(tmp_path_factory):
    return Passage(written_study(tmp_path_factory.mktemp("ledum"), small()))


def test_judging_reads_of_the_table_what_was_flown(venus):
    """Sample for sample: the same burns, influences and edges; nothing is flown again. One digit of a date is lost."""
    again = worth_of_entries(venus.alone, cases_of_entries(venus.table), (0.0, 0.5))
    first = venus.judged.worth
    for name in ("corridor_chance", "chance_returned", "chance_quality", "expected_quality", "angle_sigma_deg",
                 "dv99_needed_m_s", "relay_mbit", "direct_mbit", "delivery_cov_km2"):  # fmt: skip
        np.testing.assert_allclose(
            getattr(again, name), getattr(first, name), rtol=1e-7, atol=1e-12, err_msg=name
        )
    assert again.limited_by.tolist() == first.limited_by.tolist()


def test_a_row_is_judged_alone(venus):
    part = shot_entries(venus.asked.take(slice(3, 5)), venus.field, venus.covered)
    alone = judge_entries(part, venus.setting, venus.corridor, (0.0, 0.5))
    own = np.flatnonzero(np.isin(venus.judged.rows, (3, 4)))
    assert alone.flown.peak_g.tolist() == venus.judged.flown.peak_g[own].tolist()
    assert alone.worth.chance_quality.tolist() == venus.judged.worth.chance_quality[own].tolist()


def test_depth_counts_by_the_logarithm_of_pressure():
    assert depth_score(10.0, 10.0) == 1.0
    assert depth_score(20.0, 10.0) == 1.0
    assert depth_score(0.01, 10.0) == pytest.approx(0.0, abs=1e-12)
    assert depth_score(10.0 * 10.0**-1.5, 10.0) == pytest.approx(0.5)
    assert depth_score(0.0, 10.0) == 0.0


def test_quality_is_depth_times_the_share_that_comes_home(venus):
    """With a link that is as predicted: P(quality >= q) is a step where depth x bits/10 Mbit is q."""
    design = venus.design.model_copy(update={"link_sigma_db": 1e-6, "link_margin_db": 0.0})
    sure = venus.study.model_copy(update={"designs": (venus.study.designs[0], design)}).of_design("shell")
    # a margin of 3 dB less is 3 dB more of a link: the bits were counted with the margin off
    cases = replace(
        cases_of_entries(venus.table), relay_db=np.full(venus.table.num_rows, np.nan),
        direct_db=np.full(venus.table.num_rows, np.nan),
    )  # fmt: skip
    n = len(cases.body)
    relay = np.linspace(0.0, 12.0, n)
    cases = replace(cases, relay_mbit=relay, direct_mbit=np.zeros(n), reached_bar=np.full(n, 10.0 * 10.0**-1.5),
                    relay_db=np.full(n, _relay_db(sure)), direct_db=np.full(n, _direct_db(sure)))  # fmt: skip
    quality = 0.25
    worth = worth_of_entries(sure, cases, (quality,))
    home = relay >= 1.0  # data_least_mbit
    good = 0.5 * np.minimum(relay / 10.0, 1.0) >= quality
    inside = worth.corridor_chance
    np.testing.assert_allclose(worth.chance_returned, home.astype(float), atol=1e-9)
    np.testing.assert_allclose(worth.chance_quality[:, 0], np.where(good & home, inside, 0.0), atol=1e-9)
    expected = np.where(home, 0.5 * np.minimum(relay / 10.0, 1.0) * inside, 0.0)
    # the mean is an integral over a hundred steps of a step
    np.testing.assert_allclose(worth.mean_quality, expected, atol=0.5 / 100.0)


def _relay_db(study):
    from swarm.encounter.link import relay_link

    return relay_link(study.probe).decibels


def _direct_db(study):
    from swarm.encounter.link import ground_link

    return ground_link(study.probe).decibels


def test_half_the_power_is_half_the_bits(venus):
    """Where the radio's fastest rate never bound, bits go with the power of the transmitter: 3 dB are a half."""
    design = venus.design.model_copy(update={"relay_transmit_w": 0.5 * venus.design.relay_transmit_w})
    weak = venus.study.model_copy(update={"designs": (venus.study.designs[0], design)}).of_design("shell")
    worth = worth_of_entries(weak, cases_of_entries(venus.table))
    heard = venus.judged.worth.relay_mbit > 0.0
    assert heard.any()
    np.testing.assert_allclose(
        worth.relay_mbit[heard], 0.5 * venus.judged.worth.relay_mbit[heard], rtol=1e-12
    )
    # flown again with the weak link: the same
    setting = replace(venus.setting, design=design)
    k = int(venus.judged.rows[np.flatnonzero(heard)[0]])
    way = descent_of(venus.rows.shots.relative[k], float(venus.rows.shots.entry_s[k]), setting)
    assert way.relay.mbit == pytest.approx(worth.relay_mbit[heard][0], rel=1e-9)


def test_what_limits_and_what_stands_against_a_row(venus):
    """12 deg bakes (load); 30 deg is inside: what is heard too little is limited by the relay, else it is its end."""
    judged, angle = venus.judged, venus.rows.angle_deg[venus.judged.rows]
    names = judged.worth.limited_by
    assert set(names[angle == 12.0]) == {"load"}
    home = np.maximum(np.nan_to_num(judged.worth.relay_mbit), judged.worth.direct_mbit)
    inside = angle == 30.0
    assert (names[inside & (home < 10.0)] == "relay").all()
    assert set(names[inside & (home >= 10.0)]) == {"pressure"}
    made = judge_of_entries(venus.alone, venus.table, None, qualities=(0.0, 0.5))
    assert (made.reason[angle == 12.0] == AIR_LOAD).all()
    assert (made.reason[inside & (home < 0.3)] == UNHEARD).all()
    assert (made.reason[inside & (home > 10.0)] == OK).all()
    # The normal tail is z^2 times as sensitive as z (phi(z)/z, Abramowitz and Stegun 26.2.12): at 22 sigma,
    # 1e-102, a change of z in its last digit is 1e-13 of the chance.
    np.testing.assert_allclose(made.shown_chance, judged.worth.corridor_chance, rtol=1e-12)
    # what comes home is sent on the way down: it is there when the probe is lost
    lost_min = venus.table["descent_min"].to_numpy()[home > 0.0]
    np.testing.assert_allclose(made.home_days[home > 0.0] * DAY_S, 60.0 * lost_min)


def test_a_tank_that_is_nearly_empty_limits(venus):
    """A burn that leaves a tenth of a m/s leaves hardly any correction: the corridor is missed for want of them."""
    cases = cases_of_entries(venus.table)
    burn_m_s = np.linspace(1.0, 400.0, 4000)
    left = 1e3 * spare_km_s(venus.alone, burn_m_s)
    dearest = 1e-3 * burn_m_s[np.flatnonzero(left > 0.1)[-1]]
    sizes = np.linalg.norm(cases.burn_km_s, axis=1)
    worth = worth_of_entries(
        venus.alone,
        replace(
            cases,
            burn_km_s=cases.burn_km_s * (dearest / sizes)[:, None],
            own_burn_m_s=np.full(len(sizes), 1e3 * dearest),
        ),
    )
    inside = venus.rows.angle_deg[venus.judged.rows] == 30.0
    assert (worth.delivered_chance[inside] < 0.9).all()
    assert set(worth.limited_by[inside]) == {"tank"}


def test_rows_select_on_depth_latitude_hour_and_sun(venus):
    table, held = venus.table, {name: venus.table[name].to_numpy() for name in
                                ("reached_bar", "latitude_deg", "local_solar_h", "sun_elevation_deg")}  # fmt: skip
    hour = held["local_solar_h"]
    for where, expected in (
        ({"bar_min": 19.0}, held["reached_bar"] >= 19.0),
        ({"bar_min": 25.0}, np.zeros(len(hour), dtype=bool)),
        ({"latitude_deg": [0, 90]}, held["latitude_deg"] >= 0.0),
        ({"local_time_h": [18, 6]}, (hour >= 18.0) | (hour <= 6.0)),
        ({"local_time_h": [6, 18]}, (hour >= 6.0) & (hour <= 18.0)),
        ({"sun_elevation_deg": [0, 90]}, held["sun_elevation_deg"] >= 0.0),
        ({"body": "Venus"}, np.ones(len(hour), dtype=bool)),
        ({"body": "Mars"}, np.zeros(len(hour), dtype=bool)),
    ):
        got = entry_fits(Where(kind="entry", **where), table, None)
        assert got.tolist() == expected.tolist(), where
    assert 0 < ((hour >= 18.0) | (hour <= 6.0)).sum() < len(hour)


def test_the_mothership_is_where_its_hyperbola_has_it(venus):
    """Places are sampled to be sent to workers: metres beside what they are samples of, NaN before and after."""
    places = venus.setting.place
    at = venus.setting.passage.closest_tdb_s
    epochs = at + np.array([-3000.0, -31.0, 0.0, 777.7, 5000.0])
    away = np.linalg.norm(places(epochs), axis=1)
    assert (away > venus.setting.passage.body.radius_km).all()
    # energy along the samples, speed by differences of 1 s: one number from 8500 to 48 000 km, to a m/s of speed
    speed = np.linalg.norm(places(epochs + 0.5) - places(epochs - 0.5), axis=1)
    energy = 0.5 * speed**2 - venus.setting.asymptote.mu / away
    np.testing.assert_allclose(energy, energy[-1], atol=1e-3 * speed.max())
    assert math.isnan(places(np.array([at - 9e5]))[0, 0])
