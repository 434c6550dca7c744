"""Coverage Audit: says, with proof, whether each body of data exists in enough copies."""
