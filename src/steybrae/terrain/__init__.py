"""Slope from an elevation model: arrays and frozen objects in, the same out; opens nothing."""
