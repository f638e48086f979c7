"""What else to ask for so that a function is not lost: the requirement that takes it away, relaxed."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.proposal import Proposal
from crosspin.knockon.wishes import Question, Want, Wish
from crosspin.model.judge import functions_of
from crosspin.model.schema import Model


@dataclass(frozen=True, slots=True)
class Relaxed:
    """A question with some wishes relaxed, and which those are."""

    question: Question
    wishes: tuple[str, ...]


class Relaxing:
    """Relaxes one question so that its best plan may keep a function that the proposal loses."""

    def __init__(self, model: Model, catalog: Catalog, question: Question, proposal: Proposal) -> None:
        self._model = model
        self._catalog = catalog
        self._question = question
        self._proposal = proposal

    def keeping(self, function: str, gave: tuple[str, ...]) -> Relaxed:
        """The question in which any part that gives the function does where the ask names one of the positions that
        `gave` it; and, where a chain of causes leads there from another position that the ask names, any part there."""
        roots = {self._root(path) for path in gave}
        wishes, changed = [], []
        for wish in self._question.wishes:
            if wish.keeps or roots.isdisjoint(wish.wants):
                wishes.append(wish)
                continue
            changed.append(wish.id)
            wishes.append(Wish(wish.id, dict(self._wants(wish, function, frozenset(gave), roots))))
        return Relaxed(replace(self._question, wishes=tuple(wishes)), tuple(changed))

    def _root(self, path: str) -> str:
        while path in self._proposal.causes:
            path = self._proposal.causes[path][0].source
        return path

    def _wants(
        self, wish: Wish, function: str, gave: frozenset[str], roots: set[str]
    ) -> Iterator[tuple[str, Want | None]]:
        for path, want in wish.wants.items():
            if path not in roots:
                yield path, want
            elif not wish.removes:
                yield path, self._any(path, function if path in gave else None)

    def _any(self, path: str, function: str | None) -> Want:
        """Any part for a position, or any that gives the function."""
        there = self._question.received[path]
        kind = self._model.roles[self._question.positions[path].role].kind
        classes = self._catalog.classes(self._model, kind)
        does = (alike.number for alike in classes if function is None or function in functions_of(self._model, alike))
        stays = there is not None and (function is None or function in functions_of(self._model, there))
        return Want((), stays, tuple(does))
