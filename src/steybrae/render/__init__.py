"""Documents on a terminal, as a page, as tables of text."""
