"""How a cause grows, and what of its effect is heard."""
