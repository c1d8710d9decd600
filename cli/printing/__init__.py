"""Results printed for people."""
