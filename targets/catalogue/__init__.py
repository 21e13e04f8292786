"""What could be visited and what it is like: bodies as frozen columns, readers, sizes, classes, knowledge.

Decided here, with what was seen:

* An orbit whose covariance refers to another epoch is taken at the covariance's epoch: carried forward by two-body
  motion, one near-Earth body's sigma in the axis came out 77 times too small
* The runoff of an uncertainty class is taken whole as one sigma (`knowledge.runoff_fraction`): its definition holds a
  factor 3 because formal errors are too small; a third of it would undo that
"""
