"""Atmospheres: density, pressure and temperature by height, as tables with their source.

Decided here, with what was seen:

* one form for all: rows of height, and the logarithm of density and of pressure linear between them. Between two rows
  the air is exponential, which is what closed forms of entry ask for; the shipped rows come back to the last digit
* above the last row of a shipped table its last scale height, stated beside it, holds up to the interface: a table of
  Venus that ends at 100 km ends where 3 g are felt already. A study's own file has no such statement and must reach
  the interface itself
* how badly density is known is one common factor, little below and more towards the interface: what varies from day to
  day varies together, and independent errors of each height would average out of the loads
"""
