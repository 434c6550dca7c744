"""The types of what was observed, and the one door to Parquet and the engine."""
