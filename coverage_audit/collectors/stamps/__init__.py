"""From the name of a recovery point to the instant that it means: by a declared pattern, or by the usual spellings."""
