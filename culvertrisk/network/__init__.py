"""Road lines to a graph, travel times, detours, who is cut off."""
