"""Would it be heard: thresholds, the audibility table, the grades, the verdict."""
