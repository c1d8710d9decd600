"""What a table of times and volts from an oscilloscope tells."""
