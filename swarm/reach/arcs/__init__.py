"""Arcs between two places: Lambert, transition matrix, B-plane; the one door to pykep."""
