"""Do people hear it: plan, pack, seal, score."""
