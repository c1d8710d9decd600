"""Signals as numbers: level, loudness, true peak, weighting, dither, random numbers, spectra."""
