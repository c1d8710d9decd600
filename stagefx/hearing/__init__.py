"""Would it be heard: thresholds, the ledger, the grades, the verdict."""
