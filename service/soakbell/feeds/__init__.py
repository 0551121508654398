"""One module for each public source, and the one transport that fetches them all."""
