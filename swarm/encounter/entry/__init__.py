"""A probe that enters an atmosphere: its way down, its loads, the corridor, and what it sends before it is lost.

Decided here, with what was seen:

* motion in Cartesian form about the body's centre, in axes that do not turn: no pole is a special place, energy with
  the work of drag is one number (1e-9 kept), and the air turns under the probe instead of three terms for it
* the step is a share of the scale height where drag is felt; the pair of order 8 refuses what crosses a row of the
  table too fast. Near the ground a probe falls at terminal speed: there the equations are stiff and the answer is a
  closed form between two rows, so that an hour of fall costs as much as a minute of entry
* the corridor is found by bisection on the flown trajectory, clock angle by clock angle of a passage: latitude,
  heading and the turning of the air are then in it, not in corrections to it
* heat load binds on the shallow side, deceleration and flux on the steep one: an edge is whatever binds first, and has
  the reason beside it
* drag only: no lift, no ablation (above 20 km/s said), no buoyancy; heating is at the stagnation point of a cold wall
"""
