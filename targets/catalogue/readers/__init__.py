"""One module per format: a file becomes a `Draft`, the rules settle it into a catalogue and its rejects."""
