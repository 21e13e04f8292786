"""The parts of the screen: reach bound, sweep over the catalogue, minima of the burn."""
