"""Walking times, clock times, daylight."""
