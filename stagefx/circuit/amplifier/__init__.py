"""The op-amp: its loop, its stability, its limits."""
