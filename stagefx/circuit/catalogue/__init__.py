"""Ready-made stages and device classes."""
