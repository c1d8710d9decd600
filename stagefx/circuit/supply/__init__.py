"""The supply: reservoirs, regulators, decoupling, and what of it reaches the output."""
