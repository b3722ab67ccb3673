"""Overhead angles of every cell of a model."""
