"""Everything that the ontology knows, as one document: `python -m crosspin.answer.knowledge docs/knowledge.md`."""

import re
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from crosspin.catalog.library import Library
from crosspin.home import data_folder
from crosspin.model.labour import Operation
from crosspin.model.schema import Criterion, Kind, Model
from crosspin.model.terms import identifier
from crosspin.rules.cases import Case, find_cases
from crosspin.vehicle.access import Places

_START = """# What Crosspin knows

Every joint kind with its criteria, and every rule: what it says, how bad an oversight is, what stands behind it, and
how many cases expect (+) and refuse (-) something of it. Then what comes off
before what, and the work in the order of its phases: what an operation disturbs is all that is off for it,
whatever way parts are held in; a way of its own has a line of its own. Written from
the ontology by `make knowledge`; change the ontology, not this file.
"""


class Knowledge:
    """The model and its cases as Markdown tables."""

    def __init__(self, model: Model, cases: Iterable[Case]) -> None:
        self.model = model
        self.places = Places(model, next(iter(model.layouts.values())))
        self.expected: Counter[str] = Counter()
        self.refused: Counter[str] = Counter()
        for case in cases:
            tests = {identifier(term) for term in case.tests}
            self.expected.update(tests if case.expects else ())
            self.refused.update(tests if case.refuses else ())

    def text(self) -> str:
        """The whole document; the same for the same ontology."""
        m = self.model
        rules: list[tuple[str, Sequence[str], Iterable[Sequence[str]]]] = [
            (
                "Joints and their criteria",
                ("joint, criterion", "says", "severity", "evidence", "cases"),
                self._joints(),
            ),
            ("Needs", _RULE, (self._rule(n.id, n.says, n.severity, n.evidence) for n in m.needs.values())),
            (
                "Needs that figures trigger",
                _RULE,
                (self._rule(n.id, n.says, n.severity, n.evidence) for n in m.figure_needs.values()),
            ),
            ("Renewals", _RULE, (self._rule(r.id, r.says, r.severity, r.evidence) for r in m.renewals.values())),
            ("Resources", _RULE, (self._rule(r.id, r.says, r.severity, r.evidence) for r in m.resources.values())),
            ("Functions", ("function", "says", "given by", "evidence", "cases"), self._functions()),
            ("Remedies", ("rule", "says", "by", "cases"), self._remedies()),
            ("Consequences", _RULE, self._consequences()),
            ("Figures", ("figure", "says", "formula", "severity", "evidence"), self._figures()),
            ("What comes off for what", ("role", "held", "off first", "then also", "renewed with it"), self._covered()),
            (
                "Work",
                ("phase", "operation", "hours", "tools", "cautions", "waits for", "takes off", "puts on", "disturbs"),
                self._work(),
            ),
        ]
        counted = [(title, header, list(rows)) for title, header, rows in rules]
        summary = [f"| {title.lower()} | {len(rows)} |" for title, _, rows in counted]
        parts = [_START, "\n".join(["| | rows |", "|---|---:|", *summary]), ""]
        for title, header, rows in counted:
            parts += [f"## {title}", "", _row(header), _row("---" for _ in header), *map(_row, rows), ""]
        return "\n".join(parts).rstrip() + "\n"

    def _joints(self) -> Iterator[Sequence[str]]:
        for kind in self.model.joint_kinds.values():
            yield (f"**{kind.id}**", kind.definition, "", self._evidence(kind.evidence), "")
            for c in kind.criteria:
                critical = "safety-critical" if c.safety_critical else ""
                severity = critical if c.severity.constrains else " ".join(filter(None, (_words(c.severity), critical)))
                yield (f"{c.id}", self._criterion(c), severity, self._evidence(c.evidence), self._cases(c.id))

    def _criterion(self, criterion: Criterion) -> str:
        mended = "".join(f" Mended by {remedy}." for remedy in criterion.remedies)
        return f"{criterion.says_clash}{mended}"

    def _rule(self, name: str, says: str, severity: str, evidence: Iterable[str]) -> Sequence[str]:
        return (name, says, _words(severity), self._evidence(evidence), self._cases(name))

    def _functions(self) -> Iterator[Sequence[str]]:
        for f in self.model.functions.values():
            givers = [
                kind.id
                for kind in self.model.kinds.values()
                if f.id in kind.functions and not any(f.id in self.model.kinds[p].functions for p in kind.parents)
            ]
            yield (
                f.id,
                f"{f.definition} {f.says_lost}",
                ", ".join(givers),
                self._evidence(f.evidence),
                self._cases(f.id),
            )

    def _remedies(self) -> Iterator[Sequence[str]]:
        for r in self.model.remedies.values():
            by = [name for name in (r.operation, r.adapter_kind) if name is not None]
            yield (r.id, r.definition, ", ".join(by), self._cases(r.id))

    def _consequences(self) -> Iterator[Sequence[str]]:
        for c in self.model.consequences.values():
            says = f"{c.definition} Brings {', '.join(c.brings)}."
            yield self._rule(c.id, says, c.severity, c.evidence)

    def _figures(self) -> Iterator[Sequence[str]]:
        for f in self.model.figures.values():
            states = ", ".join(self.model.states[name].label for name in f.states)
            worked = (f"Worked out {states}.",) if states else ()
            said = " ".join((f.definition, *worked, *(limit.says for limit in f.limits)))
            yield (
                f.id,
                said,
                self.model.formulas[f.formula].expression,
                _words(f.severity),
                self._evidence(f.evidence),
            )

    def _work(self) -> Iterator[Sequence[str]]:
        waits: dict[str, list[str]] = {}
        for operation in self.model.operations.values():
            for later in operation.before:
                waits.setdefault(later, []).append(operation.label)

        def place(operation: Operation) -> tuple[int, str]:
            return self.model.phases[operation.phase].number, operation.id

        for o in sorted(self.model.operations.values(), key=place):
            tools = ", ".join(self.model.tools[t].label for t in o.tools)
            cautions = ", ".join(self.model.cautions[c].label for c in o.cautions) or "hurts nobody"
            phase = self.model.phases[o.phase].label
            takes, puts = self._kinds_by("comes_off_by", o.id), self._kinds_by("goes_back_by", o.id)
            puts |= self._kinds_by("goes_on_by", o.id)
            handled = [(role, kind) for kind in sorted(takes | puts) for role in self.places.roles_taking[kind]]
            off = self._roles_over(handled) | self._roles_off(o.wants_off)
            off -= {role for role, _ in handled}
            yield (
                phase,
                o.label,
                str(o.hours),
                tools,
                cautions,
                ", ".join(waits.get(o.id, ())),
                ", ".join(self.model.kinds[kind].label for kind in sorted(takes)),
                ", ".join(self.model.kinds[kind].label for kind in sorted(puts)),
                self._role_labels(off),
            )

    def _kinds_by(self, word: str, operation: str) -> set[str]:
        """The widest kinds that an operation takes off, or puts on."""
        found = {kind.id for kind in self.model.kinds.values() if operation in getattr(kind, word)}
        return {name for name in found if not found & set(self.model.kinds[name].parents)}

    def _covered(self) -> Iterator[Sequence[str]]:
        """For every role what comes off first; for each kind that is held in a way of its own, that beside it."""
        for role in self.model.roles.values():
            kinds = [
                kind.id
                for kind in self.model.kinds.values()
                if role.kind in kind.ancestors and (kind.id == role.kind or self._own(kind))
            ]
            for kind in kinds:
                first = {*role.under, *self.model.kinds[kind].under}
                off = self._roles_over([(role.id, kind)])
                direct = {name for name in first if name in self.model.roles}
                renewed = {
                    renewal.then_role
                    for renewal in self.model.renewals.values()
                    if renewal.when_disturbed and renewal.when_role in off
                }
                if first:
                    held = "" if kind == role.kind else self.model.kinds[kind].label
                    words = [self.model.kinds[name].label for name in sorted(first) if name in self.model.kinds]
                    begins = ", ".join(filter(None, (self._role_labels(direct), *words)))
                    yield role.label, held, begins, self._role_labels(off - direct), self._role_labels(renewed)

    def _own(self, kind: Kind) -> bool:
        """Whether a kind says more of what lies over it than the kinds above do."""
        return set(kind.under) != {name for parent in kind.parents for name in self.model.kinds[parent].under}

    def _roles_over(self, handled: Iterable[tuple[str, str]]) -> set[str]:
        """The roles of all that surely comes off before parts of some kinds do, in some roles."""
        waiting = list(handled)
        known = set(waiting)
        found: set[str] = set()
        while waiting:
            role, kind = waiting.pop()
            for name in {*self.model.roles[role].under, *self.model.kinds[kind].under}:
                over = self._named(name, role)
                found |= {there for there, _ in over}
                waiting += over - known
                known |= over
        return found

    def _named(self, name: str, role: str) -> set[tuple[str, str]]:
        """The roles, each with the kind that is sure there, which a role or a kind beside another role names."""
        roles = self.model.roles
        if name in roles:
            return {(name, roles[name].kind)}
        beside = (position for position in self.places.positions.values() if position.role == role)
        near = {self.places.positions[path].role for p in beside for path, _ in self.places.at(p.path, name)}
        return {(there, name) for there in near}

    def _roles_off(self, roles: Iterable[str]) -> set[str]:
        return set(roles) | self._roles_over((role, self.model.roles[role].kind) for role in roles)

    def _role_labels(self, roles: Iterable[str]) -> str:
        return ", ".join(sorted(self.model.roles[role].label for role in roles))

    def _evidence(self, names: Iterable[str]) -> str:
        return "; ".join(self.model.evidence[name].source for name in names)

    def _cases(self, name: str) -> str:
        return f"+{self.expected[name]} -{self.refused[name]}"


_RULE = ("rule", "says", "severity", "evidence", "cases")


def _row(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"


def _words(name: str) -> str:
    """A camel-case name as words: hurtsSomeone becomes "hurts someone"."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name).lower()


def knowledge() -> str:
    """The document for the ontology as it is shipped."""
    folder = data_folder("ontology")
    return Knowledge(Library(folder).model, find_cases(folder)).text()


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(knowledge(), encoding="utf-8")
