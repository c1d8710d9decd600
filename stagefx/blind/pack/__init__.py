"""Packs: versions made equal in all but the difference, sealed, and put into one folder."""

from stagefx.blind.pack.excerpts import Excerpt, excerpt_of_files, excerpt_of_stages
from stagefx.blind.pack.prepare import Prepared, prepare_pack

__all__ = ["Excerpt", "Prepared", "excerpt_of_files", "excerpt_of_stages", "prepare_pack"]
