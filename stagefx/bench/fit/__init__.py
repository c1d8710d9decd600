"""A stage's free figures adjusted to what was measured of a real one."""
