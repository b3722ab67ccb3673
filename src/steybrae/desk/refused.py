"""Refusals of the desk's server: a status and one sentence."""

from __future__ import annotations


class RefusedError(Exception):
    """A request that is not answered.

    Parameters
    ----------
    status
        HTTP status.
    sentence
        What was expected, what arrived, what to do; it is sent to whoever asked.
    """

    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.status, self.sentence = status, sentence
