"""What a stage does on paper: figures, their spread, faults and cautions."""
