"""Crossings to what is done: thaw jobs, the morning, the upgrades."""
