"""What all pages share, and the evidence page."""
