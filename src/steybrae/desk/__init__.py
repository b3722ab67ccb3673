"""The desk: a page on this machine alone, on which a line is drawn, moved and asked about."""
