"""The changes, each named by its revision; a shipped one is never edited."""
