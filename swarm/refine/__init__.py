"""Selected plans as full-force trajectories: forces, correction, dispersion, safety."""
