"""The command line, the surface for scripts, batches, and the stages they all run.

Decided here, with what was seen:

* Of a batch only the driver writes; variations run one after another, each on all workers: workers that outlive a
  killed driver could otherwise remove tables the resumed one has just written
* `swarm.optimize`, `compare` and `refine` stay functions when the rooms of those names are imported; a room is
  reached as `from swarm.optimize import search`: importing `swarm.optimize.search` would put the folder in the
  function's place, and `swarm.optimize(run)` would work or not by what was imported before (`tests/app/surface`)
* In scripts the default is one process; the command line takes one per core: new processes read the script again:
  with two, a script of five lines without a guard ends after half a minute with a long traceback and no answer
"""
