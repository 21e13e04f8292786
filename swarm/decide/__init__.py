"""With a front in hand: probe counts, recourse, sensitivities, risks, what astronomers could add, explanations.

Decided here, with what was seen:

* The gain from colours is the value of information: for a plan that stays as it is, knowing a class changes nothing
  on average
* Fronts of probe counts are searched apart, then joined: from above less one probe, from below as they are; nothing
  is thinned afterwards: a searched front for more probes alone need not hold every plan of fewer; thinning would
  break it again (`tests/decide/compare`)
* What the others return after a dead check-out is expected given that probe is dead, not that of the plan less one
  probe: with a fifth of the failures shared and chances of 0.7, a failure of all is 0.2 likely then and not 0.06:
  leaving the probe out promises a sixth too much (`tests/decide/recourse`)
* A plan made again is the most science for the chosen plan's propellant, whatever rule chose it: a knee moves along
  the front when anything changes, and could gain science by losing a target; so less choice never raises the answer
  (`tests/decide/sensitivity`: left-out targets, burn limits)
* Changes are compared with the same short search of the unchanged study, both from plans that were improved by it
  before: else what effort finds would count as the effect of a change
* A screen with a higher burn limit only adds its rows above the old limit to the run's table: what burns no more was
  found before, polished releases too; the answer cannot fall by a row that is missing
* A mothership by elements slips by moving their epoch, released no earlier than study.start + slip; a file never
  slips, not even as a copy with other dates: moved elements are flown again among the planets where they then are; a
  file's path would meet them where they are not. A copy is told by its states: within 1 km of the study's own path so
  much earlier
* The search for a count starts from the front of the count below, never from another seed's or the main front: seeds
  that share plans would make the spread too small; equal effort keeps the value of the next probe fair
  (`tests/decide/compare/test_warm_starts.py`)
"""
