"""Every jitted loop, and nothing else."""
