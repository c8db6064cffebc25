"""Simulated benches and the comparison of strategies that are played on them."""
