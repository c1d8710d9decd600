"""A question file answered: the page, its numbers, its tables."""
