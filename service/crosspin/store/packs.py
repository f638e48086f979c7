"""Packs: folders of Turtle that add to the ontology, and the order in which they may speak.

A term belongs to the pack that gives it its `rdf:type`.  Another pack may add to it by properties that are
marked `cp:addsFreely`, and say things in another language; to change anything else it has to declare a
`cp:Replacement`, which takes away what the owner said.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pyoxigraph import BlankNode, Literal, NamedNode, Quad

from crosspin.store.graph import BrokenText, Facts, parse_text

SHIPPED = "crosspin"
"""The name under which all that comes with the program speaks."""

_DEF = "https://crosspin.example/def/"
_TYPE = "http://www.w3.org/1999/02/22-rdf-syntax-ns#type"
_PREFIXES = {
    "cp": _DEF,
    "case": "https://crosspin.example/case/",
    "rdfs": "http://www.w3.org/2000/01/rdf-schema#",
    "skos": "http://www.w3.org/2004/02/skos/core#",
    "sh": "http://www.w3.org/ns/shacl#",
}
_DATA = "data"


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that a pack may not have: file and term, what is wrong, and what right looks like."""

    place: str
    wrong: str
    right: str

    def __str__(self) -> str:
        return f"{self.place}: {self.wrong}. {self.right}."


class BrokenPack(BrokenText):
    """Packs that cannot be read together; `faults` say where, what is wrong, and what right looks like."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("\n".join(map(str, faults)))
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True)
class Said:
    """One triple of a pack, and the file that it stands in; `term` is the IRI of its subject, "" for a blank node,
    `name` that of its property."""

    pack: str
    file: str
    term: str
    name: str
    quad: Quad

    @property
    def words(self) -> str:
        """Property and value, as a person reads them."""
        return f"{short(self.name)} {value_of(self.quad.object)}"


@dataclass(frozen=True, slots=True)
class Replacement:
    """A declared change by one pack of what another says: of one property of a term, or of the whole term."""

    pack: str
    file: str
    term: str
    property: str | None
    because: str
    before: tuple[str, ...]
    after: tuple[str, ...]

    def __str__(self) -> str:
        what = short(self.term) if self.property is None else f"{short(self.term)} {short(self.property)}"
        before, after = (", ".join(values) or "nothing" for values in (self.before, self.after))
        return f"{self.pack} replaces {what}: {before} becomes {after}. {self.because}"


@dataclass(frozen=True, slots=True)
class Pack:
    """A folder of one's own: how much it says, and what it adds to the terms of others ("term: property value")."""

    name: str
    folder: Path
    terms: tuple[str, ...]
    additions: tuple[str, ...]
    replacements: tuple[Replacement, ...]

    @property
    def data(self) -> Path | None:
        """The folder of its parts, kits and vehicles, if it has one."""
        folder = self.folder / _DATA
        return folder if folder.is_dir() else None


@dataclass(frozen=True)
class Reading:
    """An ontology read with its packs: the triples that hold, who says them where, the packs, and the faults."""

    quads: list[Quad]
    packs: tuple[Pack, ...]
    faults: tuple[Fault, ...]
    files: dict[str, str] = field(default_factory=dict)
    """By IRI of a term, the file that defines it."""
    said: tuple[Said, ...] = ()
    """Every triple as it was read, whether or not it holds."""


def ontology_files(folder: Path) -> list[Path]:
    """Every Turtle file of an ontology or pack in the order of their paths, its data aside."""
    return sorted(p for p in folder.rglob("*.ttl") if _DATA not in p.relative_to(folder).parts[:-1])


def read_packs(ontology: Path, packs: Sequence[Path] = ()) -> Reading:
    """The ontology with these packs laid upon it, in their order.

    Raises BrokenPack where a folder is not there or a text is not well formed; what a pack may not say is in
    the faults of the reading.
    """
    said = list(_read(SHIPPED, ontology))
    for index, folder in enumerate(packs):
        if not folder.is_dir():
            right = "Give the folder that holds the pack's Turtle files"
            raise BrokenPack([Fault(str(folder), "there is no such folder", right)])
        if folder.name in (SHIPPED, *(other.name for other in packs[:index])):
            wrong = f"there is a pack {folder.name} already"
            raise BrokenPack([Fault(str(folder), wrong, "Name the folder otherwise")])
        said.extend(_read(folder.name, folder))
    return _lay(said, packs)


def _read(pack: str, folder: Path) -> Iterator[Said]:
    for path in ontology_files(folder):
        try:
            quads = parse_text(path.read_bytes(), "text/turtle", path.name)
        except BrokenText as error:
            place, _, wrong = str(error).partition(": ")
            place = f"{path}{place.removeprefix(path.name)}"
            raise BrokenPack([Fault(place, wrong.rstrip("."), "Mend the text there")]) from error
        for quad in quads:
            subject = quad.subject
            term = subject.value if isinstance(subject, NamedNode) else ""
            yield Said(pack, str(path), term, quad.predicate.value, quad)


def terms_of(reading: Reading) -> tuple[str, ...]:
    """The terms that an ontology and its packs define, by their local names."""
    return tuple(sorted({s.term.removeprefix(_DEF) for s in reading.said if s.name == _TYPE and _is_ours(s.term)}))


def _is_ours(term: str) -> bool:
    return term.startswith(_DEF) and term != _DEF and "/" not in term.removeprefix(_DEF)


def _lay(said: list[Said], folders: Sequence[Path]) -> Reading:
    owners: dict[str, str] = {}
    files: dict[str, str] = {}
    faults: list[Fault] = []
    free = {s.term for s in said if s.name == f"{_DEF}addsFreely"}
    for s in said:
        if s.name != _TYPE or not s.term:
            continue
        term = s.term
        if owners.setdefault(term, s.pack) == s.pack:
            files.setdefault(term, s.file)
        elif not any(f.place == _place(s.file, term) for f in faults):
            wrong = f"{short(term)} is defined twice, here and in {files[term]}"
            faults.append(Fault(_place(s.file, term), wrong, "Give the new term a name of its own"))
    declared = list(_declared(said))
    replacing = {(r.pack, r.term, r.property) for r in declared}
    replaced = {(r.term, r.property): r.pack for r in declared}
    faults.extend(_wrong_replacements(declared, owners))
    kept: list[Quad] = []
    gone: set[BlankNode] = set()
    additions: dict[str, list[str]] = {}
    before: dict[tuple[str, str | None], list[str]] = {}
    after: dict[tuple[str, str | None], list[str]] = {}
    for s in said:
        term, name = s.term, s.name
        owner = owners.get(term) if term else s.pack
        keys = [key for key in ((term, name), (term, None)) if key in replaced and owner]
        mine = any((s.pack, *key) in replacing for key in keys)
        if keys and not mine and s.pack == owner and not (name == _TYPE and keys == [(term, None)]):
            before.setdefault(keys[0], []).append(value_of(s.quad.object))
            if isinstance(s.quad.object, BlankNode):
                gone.add(s.quad.object)
            continue
        if mine:
            after.setdefault(keys[0], []).append(value_of(s.quad.object))
        elif owner and owner != s.pack and s.pack != SHIPPED and name != _TYPE:
            if any(f.place == _place(s.file, term) for f in faults):
                pass  # defined twice, which is said already
            elif name in free or (isinstance(s.quad.object, Literal) and s.quad.object.language not in (None, "en")):
                additions.setdefault(s.pack, []).append(f"{short(term)}: {s.words}")
            else:
                faults.append(_silent(s, files[term]))
        kept.append(s.quad)
    told = [
        Replacement(r.pack, r.file, r.term, r.property, r.because, _values(before, r), _values(after, r))
        for r in declared
    ]
    faults.extend(
        Fault(_place(r.file, r.term), "the replacement leaves nothing in its place", "Say in the pack what holds now")
        for r in told
        if not r.after
    )
    return Reading(
        quads=_without(kept, gone),
        packs=tuple(
            Pack(
                name=folder.name,
                folder=folder,
                terms=tuple(sorted(t for t, owner in owners.items() if owner == folder.name)),
                additions=tuple(sorted(additions.get(folder.name, ()))),
                replacements=tuple(r for r in told if r.pack == folder.name),
            )
            for folder in folders
        ),
        faults=tuple(faults),
        files=files,
        said=tuple(said),
    )


def _values(table: dict[tuple[str, str | None], list[str]], r: Replacement) -> tuple[str, ...]:
    return tuple(sorted(table.get((r.term, r.property), ())))


def _silent(s: Said, file: str) -> Fault:
    term, name = short(s.term), short(s.name)
    return Fault(
        _place(s.file, s.term),
        f"{name} of {term} is changed, which {file} defines, without saying so",
        f"Declare it: a cp:Replacement with cp:replacesTerm {term}, cp:replacesProperty {name} and cp:because;"
        " or leave it alone",
    )


def _declared(said: Iterable[Said]) -> Iterator[Replacement]:
    """The replacements that packs declare, in the order of their IRIs."""
    facts: dict[tuple[str, str, str], dict[str, str]] = {}
    for s in said:
        if s.term and s.pack != SHIPPED and isinstance(s.quad.object, NamedNode | Literal):
            about = facts.setdefault((s.pack, s.file, s.term), {})
            if s.name != _TYPE:
                about[s.name] = s.quad.object.value
            elif s.quad.object == NamedNode(f"{_DEF}Replacement"):
                about[_TYPE] = ""
    for (pack, file, iri), about in sorted(facts.items()):
        if _TYPE in about:
            term = about.get(f"{_DEF}replacesTerm", iri)
            name = about.get(f"{_DEF}replacesProperty")
            yield Replacement(pack, file, term, name, about.get(f"{_DEF}because", ""), (), ())


def _wrong_replacements(declared: Sequence[Replacement], owners: dict[str, str]) -> Iterator[Fault]:
    for index, r in enumerate(declared):
        place = _place(r.file, r.term)
        if not r.because:
            yield Fault(place, "the replacement gives no reason", "Say in cp:because why what was said does not hold")
        if owners.get(r.term) in (None, r.pack):
            wrong = f"{short(r.term)} is not defined by another pack, so that there is nothing to replace"
            yield Fault(place, wrong, "Name in cp:replacesTerm the term of another pack")
        for other in declared[:index]:
            if other.pack != r.pack and (other.term, other.property) == (r.term, r.property):
                yield Fault(place, f"{other.pack} replaces the same already", "Keep one of the two replacements")


def _without(quads: list[Quad], gone: set[BlankNode]) -> list[Quad]:
    """The quads without those about blank nodes that nothing leads to any more."""
    while gone:
        dropped = [q for q in quads if q.subject in gone]
        quads = [q for q in quads if q.subject not in gone]
        gone = {q.object for q in dropped if isinstance(q.object, BlankNode)}
    return quads


def _place(file: str, term: str) -> str:
    return f"{file}, {short(term)}"


def short(iri: str) -> str:
    """A term as it is written in Turtle: with its usual prefix, if it has one."""
    for prefix, namespace in _PREFIXES.items():
        if iri.startswith(namespace):
            return f"{prefix}:{iri.removeprefix(namespace)}"
    return f"<{iri}>"


def value_of(node: object) -> str:
    """A value as it is written in Turtle, without its datatype."""
    if isinstance(node, NamedNode):
        return short(node.value)
    return "[ ... ]" if isinstance(node, BlankNode) else str(node).partition("^^")[0]


def languages(facts: Facts) -> tuple[str, ...]:
    """The languages in which labels and sentences are written, English first."""
    spoken = {value.language for value in facts.values() if isinstance(value, Literal) and value.language}
    return ("en", *sorted(spoken - {"en"}))
