"""Near a body with mass: the field there, what a probe asks for, and the burn that brings it about.

Decided here, with what was seen:

* one frame from release to closest approach: the planet's centre, with its moons, the Sun and the other planets as
  bodies that pull. There is no sphere at which conics are joined, so nothing is patched and no state jumps. A pass of a
  Galilean moon at 25 km that is aimed by conics alone is flown more than 20 km beside (tests/reach/approach)
* the aim is a point of the B-plane of the incoming asymptote at the body, taken from the flown state at closest
  approach. There it gives the periapsis exactly, and it is linear where a periapsis is not: at a head-on path, which a
  two-body leg to the planet's centre is
* the first step comes from the transition matrix of the unburned path; a straight line would be wrong by factors of
  1.45 and 0.37 three days before a Galilean moon
"""
