"""The statistics of a blind test, one idea a file."""
