"""What a run stands on: its folder and declared tables, workers, compiled kernels, progress.

Decided here, with what was seen:

* Compiled kernels are cached under a hash of the sources that import numba and of all that those import: numba looks
  only at the file a kernel stands in and would go on with old helpers; a change to the page or the command line
  compiles nothing again (`tests/run/test_sources_of_kernels.py`)
* Shared objects are sent to Dask workers without hashing, and tasks are not pure: an equal-looking call must be
  computed again: `tests/run`
* Each worker compiles into its own folder, filled from the driver's where that holds more than before: numba's cache
  on disk is not safe for several writers; copying 434 files before each of 102 maps took 19 s of a demonstration
* A worker that died between two maps is not asked to fill its cache: the broadcast failed and stopped a run that
  would have gone on
"""
