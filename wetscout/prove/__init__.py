"""Invented landscapes with known answers, and the scoring against them."""
