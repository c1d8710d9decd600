"""Sentences composed from numbers."""
