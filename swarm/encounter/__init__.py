"""An opportunity -> quality, data, delivery, corrections and their chances.

Decided here, with what was seen:

* Every opportunity is judged by the same 2 000 sampled deliveries, drawn once from the study's seed; expected quality
  and the aim point are integrated instead: chances differ by opportunity and not by draw, and the table may be cut
  anywhere (same bytes: `tests/encounter/test_judged.py`); an aim point sought on samples would fit their gaps
* The average over a delivery runs along lines of its long axis, cut at the ring where passes count, in even steps of
  asinh(distance / nearest useful distance): plain tensor points were off by 10 % where the ring is thinner than their
  spacing, even steps by up to 4 %, with hills of their own; now within 1 % of 40 000 samples
* Up to eight hills of a rough grid are climbed; no aim point is nearer than the keep-out distance: of 4 000 cases
  four had a point of a fine grid more than 1e-5 better, at most 0.1 % (`tests/encounter/test_aim.py` holds 200 to
  1e-5); an aim point inside would be aimed to hit, though a hopelessly wide delivery gains by it
* A row that asks for quality 0 needs a pass that shows the target (ten pixels across, within the range of sight, some
  of it lit): a point of light is no image; before that, a body a million km off counted as returned data
* With and without a correction in sight of the target are both flown in samples where not all can afford it, and a
  sample that cannot pay flies without: 3 000 km undone in three hours cost 280 m/s, more than a probe carries; without
  the attempt some of the samples pass well enough
* The keep-out distance, slew limit and blur have soft edges; the chance of pointing by the clock stands beside the
  quality: an aim point beside a hard edge moves with the last digit of the delivery
* Tanks are filled for the main burn at its limit and what undoes its errors; an own allowance is
  `delivery.correction_budget_m_s`: a smaller main burn leaves its difference for corrections, which is what the
  samples may spend
* The policy (corrections in sight, or the ground's only) is chosen as if delta-v had no end; a sample flies those in
  sight up to a spending limit, else without, to the same aim point. Of all limits those are allowed at which no asked
  quality has a smaller chance than at a lower one: a choice by the sum over qualities let single chances fall as the
  budget grew, and so does paying whenever one can, by the lucky ones that lose by it (`test_spending.py`)
"""
