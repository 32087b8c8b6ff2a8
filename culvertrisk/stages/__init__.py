"""Crossings in, crossings out: each stage adds its columns."""
