"""Whole collections: how often does anything happen in real music."""
