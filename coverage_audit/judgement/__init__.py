"""Standings, rules and conclusions: pure functions of the evidence."""
