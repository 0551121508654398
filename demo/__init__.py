"""The offline demonstration: invented weather on the loopback interface, and the real service playing on it."""
