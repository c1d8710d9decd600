"""Ladders of resistors and capacitors, solved exactly."""
