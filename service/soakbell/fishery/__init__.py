"""The dated rules of a fishery. Pure."""
