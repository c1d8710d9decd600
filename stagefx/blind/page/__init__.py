"""The listening page: one HTML file that holds the music, its scripts and its styles."""

from stagefx.blind.page.build import build_page

__all__ = ["build_page"]
