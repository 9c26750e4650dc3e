"""Scoring and pictures of a screen of real ground."""
