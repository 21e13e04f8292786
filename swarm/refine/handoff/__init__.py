"""The package that other people's tools read, read back before success is said.

Decided here, with what was seen:

* The package reads its parameter messages with a small reader of its own: the product must read back what it writes;
  the outside reader is GPL and checks neither frame nor time scale
"""
