"""Lessons as results: scales, questions, answers and their tolerances. Opens nothing, draws nothing."""
