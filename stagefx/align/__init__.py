"""Where one recording lies in another: delay, gain, polarity, drift, missing and added audio."""
