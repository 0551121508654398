"""Soakbell: each morning, pull or wait, and why."""

__version__ = "0.1.5"
