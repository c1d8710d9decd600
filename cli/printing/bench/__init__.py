"""What comes from the bench, printed for people."""
