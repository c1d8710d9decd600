"""`stagefx blind`: do people hear it, without knowing which is which."""

from .group import command

__all__ = ["command"]
