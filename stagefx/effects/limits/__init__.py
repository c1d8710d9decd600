"""Slew limiting and clipping."""
