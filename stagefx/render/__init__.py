"""Music through a stage: prepare, plan, chain, threads, report."""
