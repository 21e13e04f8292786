"""Why an opportunity is worth little: the first reason that applies. Compiled; sentences for a reader in `REASONS`."""

from __future__ import annotations

import math

from numba import njit

from swarm.encounter.quality import factors_at

# Why an opportunity is worth little; the first that applies. Sentences for a reader: `REASONS`.
OK, STORAGE, LIFE, POWER, CONJUNCTION, LINK = range(6)
PHASE, RESOLUTION, MOTION, NEVER_SEEN, SEEN_TOO_LATE, TOO_DEAR, CAPTURE = range(6, 13)
INTO_SUN, DARK, TOO_HIGH, HITS = range(13, 17)
AIR_SKIP, AIR_DECEL, AIR_FLUX, AIR_LOAD, UNHEARD, NOT_DEEP = range(17, 23)
REASONS = (
    "nothing stands out against it",
    "the probe would be released after longer on the mothership than it can be stored",
    "the probe's life ends before its data are home",
    "the panels do not feed the transmitter so far from the Sun, and the battery is empty too soon",
    "the Sun stands in the way of the link for as long as data could be sent",
    "the link is too slow for even the smallest set of images",
    "the target shows too little of its lit side, whatever the aim side",
    "the target is too small for the camera at the nearest allowed distance",
    "the pass is too fast for slew rate, exposure and frame rate",
    "the orbit of the target is known too badly: it may pass beyond the camera's sight",
    "the camera sees the target too late for a correction",
    "the corrections need more than the probe carries",
    "the time of closest approach is too uncertain for the field of view",
    "the camera would have to look too close to the Sun on approach",
    "the ground below the lowest point is dark",
    "the pass is too high, or too fast over the ground, for the camera",
    "in half of all cases or more the pass would be lower than the highest ground",
    "in half of all cases or more the probe would skip out of the atmosphere",
    "in half of all cases or more the deceleration would be over what the shell bears",
    "in half of all cases or more the heat flux would be over what the shell bears",
    "in half of all cases or more the heat load would be over what the shell bears",
    "too little of what the probe measures is heard before it is lost",
    "the probe is lost before it is deep enough to count",
)
# Below these the reason is said (own choices): chance of the data, quality at best, share of it that delivery leaves.
LOW_RETURN, LOW_BEST, LOW_SHARE = 0.5, 0.1, 0.5
# Reasons by what `send_home` says.
WHY_NOT_HOME = (LINK, STORAGE, LIFE, POWER, CONJUNCTION, LINK)


@njit(cache=True)
def reason_of_quality(aim, sun, optics):
    """The factor that is lowest at the best aim point, or halfway in where no pass is worth anything."""
    b = math.sqrt(aim[0] * aim[0] + aim[1] * aim[1])
    sun_size = math.sqrt(sun[0] * sun[0] + sun[1] * sun[1])
    cosine = sun_size
    if b > 0.0:
        cosine = (aim[0] * sun[0] + aim[1] * sun[1]) / b
    else:
        b = max(optics.v_rel_km_s / optics.slew_limit_rad_s, optics.keepout_km + 0.5 * optics.diameter_km)
    scores = factors_at(b, cosine, optics)
    shown, sharp = scores[1] * scores[2], scores[0]
    motion = scores[3] * scores[4] * scores[5] * scores[6]
    if sharp <= shown and sharp <= motion:
        return RESOLUTION
    return PHASE if shown <= motion else MOTION


@njit(cache=True)
def reason_of_delivery(acquire_km, seen_s, share_seen, carried, errors, tracked):
    """What keeps most of the quality from being delivered."""
    if acquire_km <= 0.0:
        return INTO_SUN
    if seen_s - errors.turnaround_s < errors.last_min_s:
        return SEEN_TOO_LATE
    if carried < LOW_SHARE:
        return TOO_DEAR
    if share_seen < LOW_SHARE:
        return NEVER_SEEN
    return NEVER_SEEN if tracked else CAPTURE
