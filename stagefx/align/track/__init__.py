"""A delay that changes along a piece."""
