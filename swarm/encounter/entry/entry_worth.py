"""What an entry comes to: delivery, chance to be in the corridor, data home, from numbers of a table: nothing is flown.

    quality = depth x share of the data that comes home
    depth   = log(p / p_0) / log(p_full / p_0),   p_0 = p_full / 1000

P(quality >= q) = P(in the corridor) P(so many data come home): the link is off its prediction by its sigma, and so
much is needed as q asks at the depth that is reached. P(data come home at all) is told apart, as for every encounter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.cases import spare_km_s
from swarm.encounter.entry.corridor import EDGE_NAMES, chance_between
from swarm.encounter.error_model import Errors, Normals, errors_of, normals_of
from swarm.encounter.link import Link, ground_link, relay_link
from swarm.encounter.pass_delivery import PassDelivery, Sight, deliver
from swarm.encounter.policies import LOW_QUALITY
from swarm.reach.approach.entry_goals import Interface, angle_sigma_deg
from swarm.study.sections.designs import DesignSettings
from swarm.study.sections.entering import EntrySettings
from targets.masses.massive import Mass, mass_named

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Names = NDArray[np.object_]

# Depth counts from so small a share of `bar_full` on, by the logarithm of pressure: own choice.
FIRST_SHARE = 1e-3
# With less than this chance the corridor is what limits a row: own choice.
_SURE = 0.99
_SHARES = np.linspace(0.0, 1.0, 101)
_THREE = ("start_cov_km2", "before_cov_km2", "delivery_cov_km2")


@dataclass(frozen=True, eq=False)
class EntryCases:
    """n entries as flown; km, km/s, s; what is not said here as in the table `entries`.

    b_km           : (n, 2) T, R of the aim point; checkout_s (n,) before the burn
    burn_km_s      : (n, 3) what puts the probe on its way, whoever burns; own_burn_m_s (n,) what of it the probe burns
    by_burn        : (n, 2, 6) d(B.T, B.R) by the state at the burn
    before_s       : n arrays of the dates of corrections before the interface, falling; none where a probe has no tank
    by_corrections : n arrays (k, 2, 6), d(B.T, B.R) by the state at each
    edges_deg      : (n, 2, 3) as in `EntriesFlown`
    relay_min, direct_min : how long it is heard, which with the radio's fastest rate bounds the bits
    """

    body: tuple[str, ...]
    v_inf_km_s: Floats
    v_entry_km_s: Floats
    angle_deg: Floats
    radius_km: Floats
    interface_km: Floats
    ephemeris_sigma_km: Floats
    checkout_s: Floats
    b_km: Floats
    burn_km_s: Floats
    own_burn_m_s: Floats
    by_burn: Floats
    before_s: tuple[Floats, ...]
    by_corrections: tuple[Floats, ...]
    edges_deg: Floats
    shallow_limit: Names
    steep_limit: Names
    lost: Names
    reached_bar: Floats
    bar_full: Floats
    relay_min: Floats
    relay_mbit: Floats
    relay_db: Floats
    direct_min: Floats
    direct_mbit: Floats
    direct_db: Floats

    def mass(self, k: int) -> Mass:
        return mass_named(self.body[k])


@dataclass(frozen=True, eq=False)
class EntryWorth:
    """n rows; chances given working hardware.

    corridor_chance : (n,) P(between the edges, and the corrections can be paid)
    chance_returned : (n,) P(the least data come home)
    chance_quality  : (n, q) P(quality >= each that is asked), given that they do
    expected_quality, low_chance : the same condition; best_quality : in the corridor, with the link as predicted
    relay_mbit, direct_mbit      : with the links of the study
    limited_by      : "tank", an edge of the corridor, "relay", or what it is lost by
    """

    corridor_chance: Floats
    chance_returned: Floats
    chance_quality: Floats
    expected_quality: Floats
    best_quality: Floats
    low_chance: Floats
    delivered_chance: Floats
    dv99_needed_m_s: Floats
    angle_sigma_deg: Floats
    start_cov_km2: Floats
    before_cov_km2: Floats
    delivery_cov_km2: Floats
    relay_mbit: Floats
    direct_mbit: Floats
    limited_by: Names

    @property
    def mean_quality(self) -> Floats:
        """(n,) over delivery, air and link; nothing where no data come home."""
        return self.expected_quality * self.chance_returned


def worth_of_entries(study: Study, cases: EntryCases, qualities: tuple[float, ...] = ()) -> EntryWorth:
    """Judge entries of one design; the answer for one does not depend on which others there are."""
    n, errors, normals = len(cases.body), errors_of(study), normals_of(study)
    spare = 1e3 * spare_km_s(study, cases.own_burn_m_s)
    relay = _rescaled(cases.relay_mbit, cases.relay_db, cases.relay_min, relay_link(study.probe))
    direct = _rescaled(cases.direct_mbit, cases.direct_db, cases.direct_min, ground_link(study.probe))
    given: dict[str, Any] = {
        "chance_quality": np.zeros((n, len(qualities))), "relay_mbit": relay, "direct_mbit": direct,
        "limited_by": np.full(n, "", dtype=object), **{name: np.zeros((n, 3)) for name in _THREE},
    }  # fmt: skip
    out = EntryWorth(**{each.name: given.get(each.name, np.zeros(n)) for each in fields(EntryWorth)})
    for k in range(n):
        made = _delivered(cases, k, errors, normals)
        out.start_cov_km2[k], out.before_cov_km2[k] = made.uncorrected_cov, made.before_cov
        out.delivery_cov_km2[k], out.dv99_needed_m_s[k] = made.delivered_cov, made.dv99_m_s
        paid = float((made.spent_m_s <= spare[k]).mean())
        inside = _inside(cases, k, made.delivered_cov)
        out.delivered_chance[k], out.corridor_chance[k] = paid, inside * paid
        out.angle_sigma_deg[k] = _sigma_deg(cases, k, made.delivered_cov)
        _keep_quality(study, cases, k, out, qualities)
        out.limited_by[k] = _limited_by(study, cases, k, out, inside)
    return out


def shell_settings(study: Study) -> EntrySettings:
    """The shell of a design that takes entries; study of that design alone."""
    assert isinstance(study.probe, DesignSettings)
    assert study.probe.entry is not None
    return study.probe.entry


def depth_score(reached_bar: float, full_bar: float) -> float:
    """0 at FIRST_SHARE of `full_bar`, 1 there, by the logarithm of pressure."""
    if reached_bar <= 0.0:
        return 0.0
    return min(max(1.0 - math.log(reached_bar / full_bar) / math.log(FIRST_SHARE), 0.0), 1.0)


def most_mbit(relay_mbit: float, direct_mbit: float) -> float:
    """What comes home by the better of both ways; a way that is not known brings nothing."""
    return max(float(np.nan_to_num(relay_mbit)), float(np.nan_to_num(direct_mbit)))


def _rescaled(mbit: Floats, decibels: Floats, minutes: Floats, link: Link) -> Floats:
    """Bits with another link than they were counted with: they go with its power, up to the radio's fastest rate.

    Exact where the rate was never at its most; where it was, and the link is weaker, it errs to fewer bits.
    """
    most = 60e-6 * minutes * link.rate_max_bit_s
    changed = np.minimum(mbit * 10.0 ** (0.1 * (link.decibels - decibels)), most)
    return np.where(decibels == link.decibels, mbit, changed)


def _delivered(cases: EntryCases, k: int, errors: Errors, normals: Normals) -> PassDelivery:
    return deliver(
        cases.by_burn[k],
        cases.by_corrections[k],
        cases.before_s[k],
        burn_km_s=cases.burn_km_s[k],
        checkout_s=float(cases.checkout_s[k]),
        sight=Sight(cases.mass(k).radius_km, float(cases.v_inf_km_s[k]), float(cases.ephemeris_sigma_km[k])),
        errors=errors,
        normals=normals,
    )


def _inside(cases: EntryCases, k: int, cov: Floats) -> float:
    body = cases.mass(k)
    interface = Interface(
        float(cases.interface_km[k]), body.radius_km, body.polar_radius_km, np.array([0.0, 0.0, 1.0])
    )
    return chance_between(
        cases.edges_deg[k], cases.b_km[k], cov, angle_deg=float(cases.angle_deg[k]),
        v_inf_km_s=float(cases.v_inf_km_s[k]), mu_km3_s2=body.gm_km3_s2, interface=interface,
    )  # fmt: skip


def _sigma_deg(cases: EntryCases, k: int, cov: Floats) -> float:
    """One sigma of the angle at the interface, from that of the aim along B."""
    (tt, rr, tr), along = cov, cases.b_km[k] / np.hypot(*cases.b_km[k])
    variance = along[0] ** 2 * tt + along[1] ** 2 * rr + 2.0 * along[0] * along[1] * tr
    return float(
        angle_sigma_deg(
            math.sqrt(max(variance, 0.0)), cases.angle_deg[k], v_inf_km_s=cases.v_inf_km_s[k],
            v_entry_km_s=cases.v_entry_km_s[k], radius_km=cases.radius_km[k],
        )
    )  # fmt: skip


def _keep_quality(
    study: Study, cases: EntryCases, k: int, out: EntryWorth, qualities: tuple[float, ...]
) -> None:
    """Fill chances and quality of a row from what it may send and how deep it comes."""
    entry, probe = shell_settings(study), study.probe
    possible = most_mbit(out.relay_mbit[k], out.direct_mbit[k])
    depth = depth_score(float(cases.reached_bar[k]), float(cases.bar_full[k]))
    if depth <= 0.0 or possible <= 0.0 or cases.lost[k] == EDGE_NAMES[0]:
        return

    def chance(quality: float) -> float:
        if quality > depth:
            return 0.0
        needed = max(entry.data_least_mbit, quality / depth * entry.data_mbit)
        spare_db = probe.link_margin_db + 10.0 * math.log10(possible / needed)
        return 0.5 * math.erfc(-spare_db / (probe.link_sigma_db * math.sqrt(2.0)))

    home, inside = chance(0.0), float(out.corridor_chance[k])
    out.chance_returned[k] = home
    out.best_quality[k] = depth * min(possible / entry.data_mbit, 1.0)
    if home <= 0.0:
        return
    out.chance_quality[k] = [inside * chance(quality) / home for quality in qualities]
    area = float(np.trapezoid([chance(depth * share) for share in _SHARES], depth * _SHARES))
    out.expected_quality[k] = inside * area / home
    out.low_chance[k] = inside * max(1.0 - chance(LOW_QUALITY) / home, 0.0)


def _limited_by(study: Study, cases: EntryCases, k: int, out: EntryWorth, inside: float) -> str:
    """What keeps a row from more: its tank or the nearer edge, else what is heard, else what it is lost by."""
    if out.corridor_chance[k] < _SURE:
        if out.delivered_chance[k] <= inside:
            return "tank"
        shallow, steep = cases.edges_deg[k, :, 1]
        nearer = cases.angle_deg[k] - shallow < steep - cases.angle_deg[k]
        return str(cases.shallow_limit[k] if nearer or math.isnan(shallow) else cases.steep_limit[k])
    if most_mbit(out.relay_mbit[k], out.direct_mbit[k]) < shell_settings(study).data_mbit:
        return "relay"
    return str(cases.lost[k])
