"""Pictures, prose and pages."""
