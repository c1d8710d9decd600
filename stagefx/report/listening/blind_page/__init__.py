"""The page of a blind test: one HTML file that holds the music, its scripts and its styles."""
