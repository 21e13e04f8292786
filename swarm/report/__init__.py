"""The page of a run: reads the archive only and computes no result."""
