"""Checks against the world outside, one file for each authority."""
