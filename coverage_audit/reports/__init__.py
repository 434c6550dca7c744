"""Pages, terminal and JSON out of a judged audit."""
