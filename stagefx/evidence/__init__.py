"""The answer: questions, pages, plots, and the ready-made scenario."""
