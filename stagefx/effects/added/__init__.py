"""What a stage adds: noise, hum, offset, oscillation."""
