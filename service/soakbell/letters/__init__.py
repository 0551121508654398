"""Turns decisions into words, pictures and files. Pure: data in, text or bytes out."""
