"""Paper, true to size: the route card and the teaching sheets."""
