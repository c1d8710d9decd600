"""Linear effects: loading and bandwidth."""
