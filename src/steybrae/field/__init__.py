"""On the hill: readings of an inclinometer and what they agree with."""
