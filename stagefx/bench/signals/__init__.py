"""Signals to play through a real stage, named by what they are for."""
