"""Recordings of real stages: faults of the instrument, noise in silences, floors."""
