"""Results kept from turn to turn: the large ones never add up."""

from __future__ import annotations

from steybrae.route.kept import LARGE, MOST_TURNS, Kept


class Source:
    met = (0, 0, 0)

    def meet(self, more: tuple[int, int, int]) -> None:
        """Nothing is counted."""


def test_large_results_are_let_go_before_another_is_made() -> None:
    kept = Kept(Source())
    seen: list[int] = []
    for turn in range(5):
        kept.turn()
        kept.of(LARGE[0], turn, lambda: seen.append(len(kept)))
    assert seen == [0] * 5


def test_two_that_one_turn_asks_for_are_both_kept() -> None:
    kept = Kept(Source())
    made: list[str] = []
    for _ in range(3):
        kept.turn()
        for line in ("main", "other"):
            kept.of(LARGE[0], line, lambda line=line: made.append(line))
    assert made == ["main", "other"]


def test_small_results_are_kept_for_some_turns() -> None:
    kept = Kept(Source())
    for turn in range(3 * MOST_TURNS):
        kept.turn()
        kept.of("small", turn, object)
    assert len(kept) == MOST_TURNS + 1
