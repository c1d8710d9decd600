"""Recursive and convolving filters along one channel."""
