"""The one door to SPICE, and the planets sampled from DE440."""
