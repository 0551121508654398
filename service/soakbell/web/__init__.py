"""Pages served on loopback."""
