"""What the logbook for the garden gate offers to pick from: this garden's own crops, plots and batches."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class GardenLists:
    """Words of this garden by column: what to write, and what to show beside it where that says more."""

    name: str
    offers: dict[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)

    def words(self, column: str) -> tuple[str, ...]:
        """What may be written in a column."""
        return tuple(word for word, _ in self.offers.get(column, ()))
