"""The report, part by part; `page.py` makes the whole of them."""
