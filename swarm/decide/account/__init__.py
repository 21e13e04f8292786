"""What a team keeps in its spreadsheet beside the flight: launch mass, cost, stations, releases, categories, outcomes.

Decided here:

* No number of money or of a launcher is assumed: without [launch] or [cost] there is no such table
* The mothership's own propellant is taken as given: its tank is sized by whoever designs it, for the largest mass
* What the plan comes to is the exact distribution of science over survival, shared failures, delivery, data return and
  unknown classes at once, as the objectives have it; where the joint counts are too many it is drawn. Its mean is held
  against the front's science in every run
* Categories of planetary protection are a checklist for whoever files them, never a decision of this tool
"""
