"""Packs: versions made equal in all but the difference, sealed, and put into one folder."""
