"""What to say to whom, and its delivery."""
