"""Which frozen culverts to open, in which order, and a map of the risk."""
