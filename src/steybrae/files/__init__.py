"""Readers and writers of files; nothing else in the package opens one."""
