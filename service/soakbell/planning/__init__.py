"""Weighs the verdicts of sea, gear and fishery into a call. Pure."""
