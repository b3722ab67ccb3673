"""Overhead angles: sights to start zones, and paths from them."""
