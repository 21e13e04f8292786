"""The parts of the screen: reach bound, sweep over the catalogue, minima of the burn.

Decided here, with what was seen:

* A pulled mothership's arcs are aimed at the target less what the planets did to the mothership, then shot in the
  planets' field; no difference of two Lambert solutions: 50 burns of a full-force mothership against full-force
  shooting: median 0.0006 m/s, worst 0.007; plain Lambert 1.4 m/s (`tests/reach/screen/test_pulled_motherships.py`);
  with no displacement the burn is exactly zero, and no second arc can have an undefined plane
* No linear estimate between the sweep and the Lambert arcs: the transition block costs 0.15 us, a Lambert arc 0.2 us:
  the estimate saves nothing and would need a guard
* The sweep looks every 46 days at a state shared by all motherships, and more finely only where that look cannot
  tell: 8 us a body and ten years for the first mothership, 0.5 us for each further one
"""
