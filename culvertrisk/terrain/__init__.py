"""Kernels on an elevation array: flow, carving, horizon, ponding."""
