"""Signals as numbers: level, loudness, weighting, rates, filters, dither, noise, spectra."""
