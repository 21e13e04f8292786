"""What everything stands on: constants with their source, times, frames, and the errors a user can mend.

Decided here, with what was seen:

* `InputError` and `NothingFeasible` say how they are pickled: an exception with keyword-only arguments does not
  survive the way back from a worker by itself
"""
