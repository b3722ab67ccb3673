"""The public library: what the commands do, for those who write Python.

Each function takes what its callers have (`given`), asks the rooms below as the command does, and
returns an `Answer`. The names that a user imports are listed in ``steybrae/__init__.py``.
"""
