"""`stagefx bench`: what meter, scope and recorder say of a real stage."""

from .group import command

__all__ = ["command"]
