"""Pure functions on arrays, one module a field of the trade."""
