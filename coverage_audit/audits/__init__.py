"""One file an undertaking: plan, collect, compare, judge, record."""
