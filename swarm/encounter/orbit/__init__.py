"""An orbit about a body: how a probe gets into it, how long it lives, what it sees until then.

Decided here, with what was seen:

* the life of a low orbit is a matter of its mean eccentricity vector: rates averaged over one revolution, in vectors
  that have no singular case (angular momentum and eccentricity), with all terms that the averaging leaves
* the averaged rates hold the turn of the body at the date: C22 and the other terms of an order move the orbit within a
  turn of the body, and are not averaged away
* the full field is for refinement: one integration, everything in it
"""
