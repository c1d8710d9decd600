"""The listening page: one HTML file that holds the music, its scripts and its styles."""
