"""Hearing as modelled here beside published thresholds."""
