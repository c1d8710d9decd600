"""What happens seldom between two versions: clicks, dropouts, bursts of clipping."""
