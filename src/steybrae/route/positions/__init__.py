"""Positions on the earth, as people write them and as maps print them."""
