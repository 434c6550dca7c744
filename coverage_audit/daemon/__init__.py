"""The scheduler, its jobs, start and stop."""
