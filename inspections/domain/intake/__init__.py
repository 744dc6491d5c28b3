"""Older records brought in from CSV files: what their columns hold (files), and what rows must agree with (rules)."""
