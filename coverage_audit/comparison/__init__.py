"""An original's manifest against a copy's, with the differences carried over."""
