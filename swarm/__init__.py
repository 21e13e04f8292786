"""Probe swarms: which bodies a mothership's probes can reach, and which plans are worth flying."""

__version__ = "0.1.0"
