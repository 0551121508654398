"""What the sea and the sky are said to do, and what the boat can take. Pure."""
