"""The declared estate: its types, its reader, its units."""
