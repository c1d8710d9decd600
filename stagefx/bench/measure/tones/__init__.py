"""Sines in recordings: distortion, intermodulation, clipping, slewing."""
