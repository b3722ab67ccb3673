"""Lines as drawn on the page: read, typed, written as files, kept as a draft."""
