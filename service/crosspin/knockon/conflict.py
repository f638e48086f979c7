"""When there is no plan: which wishes contradict each other, and the cheapest ways out."""

from crosspin.knockon.compiled import Compiled
from crosspin.knockon.limits import INFINITE
from crosspin.knockon.network import Network
from crosspin.knockon.opening import Opening
from crosspin.knockon.proposal import Conflict, WayOut
from crosspin.knockon.wishes import Question


def find_conflict(compiled: Compiled, question: Question) -> Conflict:
    """A minimal conflict among the wishes of a question that has no plan, with a way out for each member.

    All of it is read off one network in which every wish may be given up.  Without any wish there always
    is a plan: to leave everything as received.  Raises SearchLimit.
    """
    compiled.weights.check_wishes(len(question.wishes))
    network = Network(Opening(compiled, question, soft=True, force={}), soft=True)
    return _Conflicts(compiled, question, network).find()


class _Conflicts:
    def __init__(self, compiled: Compiled, question: Question, network: Network) -> None:
        self.compiled = compiled
        self.network = network
        self.names = [wish.id for wish in question.wishes]

    def find(self) -> Conflict:
        wishes = self.smallest()
        ways = {self.way_out(wish) for wish in wishes}
        return Conflict(
            tuple(wishes), tuple(sorted(ways, key=lambda way: (len(way.give_up), way.cost, self.places(way.give_up))))
        )

    def places(self, names: tuple[str, ...]) -> list[int]:
        return [self.names.index(name) for name in names]

    def contradict(self, granted: list[str]) -> bool:
        """Whether there is no plan that grants these wishes and none of the others."""
        return self.network.solve({name: name not in granted for name in self.names}).optimum >= INFINITE

    def smallest(self) -> list[str]:
        """Take wishes away, the last first, as long as the others still contradict each other."""
        granted = list(self.names)
        for name in reversed(self.names):
            without = [other for other in granted if other != name]
            if self.contradict(without):
                granted = without
        return granted

    def way_out(self, wish: str) -> WayOut:
        """The best plan without that wish: fewest wishes given up, then least cost; of equals, the one that
        grants the earlier wishes."""
        solved = self.network.solve({wish: True})
        numbers = self.network.wish_numbers()
        lost = self.network.decode(solved, [numbers[name] for name in self.names])
        give_up = tuple(name for name in self.names if lost[numbers[name]])
        return WayOut(give_up, self.compiled.weights.cost(solved.optimum))
