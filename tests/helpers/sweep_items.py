"""A chunk of a population swept by a thousand motherships, as workers are given it."""

from __future__ import annotations

import resource
import time

import numpy as np

from swarm.reach.screen.approaches import find_approaches
from targets.motion.perturbed import move_to_epoch, prepare


def near_of(chunk, shared):
    """Seconds of processor for preparing and for the filter, pairs near, and the most memory of the process, MiB."""
    epochs, states = chunk
    legs, planets, (start, end), step_s = shared
    begun = time.process_time()
    at_start = move_to_epoch(epochs, states, start, planets=planets, step_s=step_s)
    prepared = prepare(at_start, start_tdb_s=start, end_tdb_s=end, planets=planets, step_s=step_s)
    ready = time.process_time()
    found = find_approaches(prepared, legs)
    pairs = sum(len(np.unique(own.body)) for own in found)
    done = time.process_time()
    return ready - begun, done - ready, pairs, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
