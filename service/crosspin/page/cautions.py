"""Cautions where they belong: each is numbered, told in full where it is met first and by its number after that."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from crosspin.answer.plan import Advice


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution at one line; `full` where the line is the first to carry it."""

    number: int
    text: str
    full: bool


class Cautions:
    """Hands out the cautions of one page in the order of its lines."""

    def __init__(self, advice: Sequence[Advice] = ()) -> None:
        self._advice = advice
        self._numbers: dict[str, int] = {}

    def of_texts(self, texts: Iterable[str]) -> list[Caution]:
        """The cautions with these texts, at one line."""
        told = []
        for text in texts:
            full = text not in self._numbers
            number = self._numbers.setdefault(text, len(self._numbers) + 1)
            told.append(Caution(number, text, full))
        return told

    def left(self, besides: frozenset[str] = frozenset()) -> list[Caution]:
        """Those of the plan that no line has carried nor will (`besides`), to be read before all."""
        return self.of_texts(a.text for a in self._advice if a.text not in besides and a.text not in self._numbers)

    def of_paths(self, paths: Iterable[str], besides: frozenset[str]) -> list[Caution]:
        """Those that speak of these positions and have not been told yet nor will be (`besides`)."""
        here = set(paths)
        texts = [a.text for a in self._advice if a.text not in besides and not here.isdisjoint(a.places)]
        return self.of_texts(text for text in texts if text not in self._numbers)
