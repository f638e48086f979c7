"""The desk: takes questions, gives answers.  One object behind the service, the page and the command line."""

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from functools import cached_property
from itertools import islice
from pathlib import Path
from threading import Lock
from time import perf_counter

from crosspin.answer.contradiction import tell_contradiction
from crosspin.answer.fit import Fitter
from crosspin.answer.functions import kept_by, not_kept, with_keeping
from crosspin.answer.plan import Contradiction, Cost, Fit, Mate, PartLine, Plan, Taker
from crosspin.answer.reasons import Scene
from crosspin.answer.sayings import Sayings
from crosspin.answer.tell import tell_plan, told_cost
from crosspin.catalog.catalog import Catalog
from crosspin.catalog.library import OVERTAKEN, Holdings, Imported, Library
from crosspin.catalog.lookup import Found, Lookup
from crosspin.catalog.usable import Unusable
from crosspin.home import data_folder
from crosspin.knockon.ask import Ask
from crosspin.knockon.ask import Fit as FitWish
from crosspin.knockon.limits import SearchLimit
from crosspin.knockon.proposal import Conflict, Proposal
from crosspin.knockon.room import unusable
from crosspin.knockon.search import Searcher
from crosspin.knockon.wishes import understand
from crosspin.model.drafts import Refused
from crosspin.model.schema import Model, Vehicle
from crosspin.rules.derivation import Derivations
from crosspin.rules.prover import MOST_VEHICLES, Prover
from crosspin.rules.trial import NoSuchRule, WhyNot


class NotOnRecord(LookupError):
    """Something asked for by id is not on record; the message says what would be right."""


class NoPlan(NotOnRecord):
    """There is no plan for an ask, because its wishes contradict each other."""


@dataclass(frozen=True)
class Bench:
    """What one version of the graph is answered with: compiled once, shared by every ask."""

    holdings: Holdings
    searcher: Searcher
    prover: Prover
    models: dict[str, Model]
    """By language; English is that of the holdings."""
    said: dict[tuple[str, tuple[tuple[str, str], ...]], Sayings] = field(default_factory=dict)

    def sayings(self, told_in: Mapping[str, str] | None, language: str) -> Sayings:
        """What is said of pairs of parts, in the units and the language that a reader wants."""
        key = (language, tuple(sorted((told_in or {}).items())))
        if key not in self.said:
            self.said[key] = Sayings(_telling(self.models[language], told_in), self.holdings.catalog)
        return self.said[key]

    @cached_property
    def lookup(self) -> Lookup:
        """The index of what is typed; made when it is first asked."""
        return Lookup(self.holdings.model, self.holdings.catalog)


def check(model: Model, catalog: Catalog) -> tuple[Unusable, ...]:
    """What would be in the way of answers by a catalog; all that a desk needs to search it is tried."""
    faults = unusable(model, catalog)
    if not faults:
        _prepare(Searcher(model, catalog), catalog)
    return faults


def _prepare(searcher: Searcher, catalog: Catalog) -> None:
    """Make a searcher ready for the vehicles in a catalog."""
    for layout in sorted({vehicle.layout for vehicle in catalog.vehicles.values()}):
        searcher.prepare(layout)


def open_library(folder: Path | None = None, packs: Sequence[Path] = ()) -> Library:
    """What is kept in a folder, under the ontology with these packs laid upon it; imports into it are checked.

    Raises BrokenText, BrokenOntology or Refused where the data cannot be read.
    """
    library = Library(data_folder("ontology"), folder, packs)
    library.check = check
    return library


def refuse_unusable(library: Library) -> None:
    """Raises Refused, naming the sources at fault, where what is in force cannot be answered from."""
    faults = unusable(library.model, library.holdings.catalog)
    if faults:
        raise Refused([fault.problem({}) for fault in faults])


class Desk:
    """Answers asks, and takes imports.  Safe to share between threads."""

    def __init__(self, library: Library) -> None:
        """Raises Refused, naming the sources at fault, where what is in force cannot be answered from."""
        self.library = library
        self.timings: dict[str, float] = dict(library.timings)
        self._writing = Lock()
        self._taking_up = Lock()
        self._tried: Searcher | None = None
        self._bench = self._compile(None)
        library.check = self._try

    @classmethod
    def open(cls, folder: Path | None = None, packs: Sequence[Path] = ()) -> "Desk":
        """The desk over the store in `folder`; without a folder, over the seed data in memory.  The ontology has
        these packs laid upon it.

        Raises BrokenText, BrokenOntology or Refused where the data cannot be read.
        """
        library = open_library(folder, packs)
        if folder is None:
            library.import_folder(data_folder("seed_data"))
        library.take_in_data()
        return cls(library)

    def _compile(self, before: Bench | None) -> Bench:
        """Make ready what there is now, with what is still right of what was made ready before."""
        started = perf_counter()
        holdings = self.library.holdings
        if before is not None and before.holdings.ontology != holdings.ontology:
            before = None
        model, catalog = holdings.model, holdings.catalog
        try:
            if before is None:
                searcher = Searcher(model, catalog)
                prover = Prover(holdings.graph, model, catalog, ontology=holdings.ontology_graph())
            else:
                searcher = Searcher(model, catalog, before=self._tried or before.searcher)
                prover = Prover(holdings.graph, model, catalog, before=before.prover)
            _prepare(searcher, catalog)
        except SearchLimit:
            refuse_unusable(self.library)
            raise
        self._tried = None
        self.timings["prepare search and proof"] = perf_counter() - started
        return Bench(holdings, searcher, prover, holdings.models)

    def _try(self, model: Model, catalog: Catalog) -> tuple[Unusable, ...]:
        """As `check`; what it makes ready serves once the catalog is in force."""
        if catalog.said("state") != self._bench.holdings.ontology:
            return check(model, catalog)
        faults = unusable(model, catalog)
        if not faults:
            searcher = Searcher(model, catalog, before=self._bench.searcher)
            _prepare(searcher, catalog)
            self._tried = searcher
        return faults

    def warm_up(self) -> None:
        """Work out what first answers would wait for: what the rules say of the vehicles as they came."""
        bench = self._bench
        for vehicle in islice(bench.holdings.catalog.vehicles.values(), MOST_VEHICLES):
            bench.prover.prepare(vehicle)

    @property
    def languages(self) -> tuple[str, ...]:
        """The languages that the ontology has words in, English first."""
        return tuple(self._bench.models)

    @property
    def holdings(self) -> Holdings:
        """The model and catalog that answers are given from now."""
        return self._bench.holdings

    def as_it_is(self) -> "Desk":
        """This desk, answering by what is on record now whatever comes later; to be asked only."""
        return copy(self)

    @property
    def behind(self) -> bool:
        """Whether something is on record that answers are not given from yet, by whatever process; in microseconds."""
        return self.library.behind or self._bench.holdings is not self.library.holdings

    def catch_up(self) -> None:
        """Answer by what is on record now.  Raises Refused where another program has put that under an ontology that
        is not ours; as long as it is, we are behind."""
        with self._taking_up:
            if self.library.behind and not self.library.catch_up():
                raise Refused([OVERTAKEN])
            if self._bench.holdings is not self.library.holdings:
                self._bench = self._compile(self._bench)

    # ------------------------------------------------------------------ the main question

    def ask(
        self,
        ask: Ask,
        timings: dict[str, float] | None = None,
        told_in: Mapping[str, str] | None = None,
        language: str = "en",
    ) -> Plan | Contradiction:
        """The answer to an ask; `timings` collects the seconds of each stage, `told_in` names units to tell
        values in by those that they are kept in, `language` is that of the ontology's words, where it has them.

        Raises AskError where the ask itself is wrong, SearchLimit where a stated bound was reached, and
        Disproved where the rules do not agree with the search.
        """
        bench = self._bench
        sayings = bench.sayings(told_in, language if language in bench.models else "en")
        times = timings if timings is not None else {}
        started = perf_counter()
        found = bench.searcher.propose(ask)
        times["search"] = perf_counter() - started
        if isinstance(found, Conflict):
            return self._contradiction(bench, ask, found, sayings)
        started = perf_counter()
        proof = bench.prover.prove(ask, found)
        times["prove"] = perf_counter() - started
        started = perf_counter()
        plan = tell_plan(self._scene(bench, ask, found, sayings), ask, found, proof)
        times["tell"] = perf_counter() - started
        return self._with_keeping(bench, ask, found, plan, sayings) if plan.functions.lost else plan

    def _with_keeping(self, bench: Bench, ask: Ask, found: Proposal, plan: Plan, sayings: Sayings) -> Plan:
        """The plan with what it would cost to keep each function that it loses; a search for each, all its places
        together."""
        keepings = {}
        for name in dict.fromkeys(lost.function for lost in plan.functions.lost):
            places = [lost.positions for lost in plan.functions.lost if lost.function == name]
            gave = tuple(path for paths in places for path in paths)
            other, relaxed = bench.searcher.keeping(ask, found, name, gave)
            keepings[name] = not_kept(self._scene(bench, ask, found, sayings), name, relaxed.wishes, gave)
            if other is None:
                continue
            proof = bench.prover.prove(ask, other)
            if not any(lost.function == name and lost.paths in places for lost in proof.lost):
                kept = tell_plan(self._scene(bench, ask, other, sayings), ask, other, proof)
                keepings[name] = kept_by(plan, kept, relaxed.wishes, gave)
        return with_keeping(plan, keepings)

    def plan_graph(self, ask: Ask, media_type: str) -> bytes:
        """The proved plan as RDF: its placements and everything that the rules derived from them."""
        bench = self._bench
        return bench.prover.graph(ask, self._found(bench, ask), media_type)

    def derivations(self, ask: Ask, about: str | None = None) -> Derivations:
        """From what the conclusions of the plan for an ask follow; `about` names a rule, a place, or what is said.

        Raises NoPlan where there is none, and NotOnRecord where the plan concludes nothing of that.
        """
        bench = self._bench
        told = bench.prover.derivations(ask, self._found(bench, ask), about)
        if about is not None and not told.conclusions:
            raise NotOnRecord(f"the plan concludes nothing about {about}; name a rule, a position or what is said")
        return told

    def why_not(self, ask: Ask, rule: str, about: str | None = None) -> WhyNot:
        """What became of a rule in the plan for an ask, everywhere or at the place `about`.

        Raises NoPlan where there is none, and NotOnRecord where there is no such rule or it has nothing to do with
        that place.
        """
        bench = self._bench
        try:
            return bench.prover.why_not(ask, self._found(bench, ask), rule, about)
        except NoSuchRule as error:
            raise NotOnRecord(str(error)) from None

    def _found(self, bench: Bench, ask: Ask) -> Proposal:
        found = bench.searcher.propose(ask)
        if isinstance(found, Conflict):
            raise NoPlan("there is no plan for this ask; ask for JSON to see which wishes contradict each other")
        return found

    def _scene(self, bench: Bench, ask: Ask, found: Proposal, sayings: Sayings) -> Scene:
        vehicle = bench.holdings.catalog.vehicles[ask.vehicle]
        layout = sayings.model.layouts[vehicle.layout]
        return Scene(sayings.model, bench.holdings.catalog, vehicle, layout, found.choices, sayings)

    def _contradiction(self, bench: Bench, ask: Ask, conflict: Conflict, sayings: Sayings) -> Contradiction:
        model, catalog = bench.holdings.model, bench.holdings.catalog
        question = understand(model, catalog, ask)
        way = bench.searcher.without(ask, conflict.ways_out[0].give_up)
        scene = self._scene(bench, ask, way, sayings)
        return tell_contradiction(scene, ask, question, conflict, bench.holdings.version)

    # ------------------------------------------------------------------ fit and mates

    def _fitter(self, *parts: str, language: str = "en") -> Fitter:
        holdings = self._bench.holdings
        for part in parts:
            if part not in holdings.catalog.parts:
                raise NotOnRecord(f"there is no part {part!r} on record; look it up under /v1/parts")
        return Fitter(self._bench.models.get(language, holdings.model), holdings.catalog)

    def fit(self, one: str, other: str, language: str = "en") -> Fit:
        """Do these two parts go together.  Raises NotOnRecord."""
        return self._fitter(one, other, language=language).fit(one, other)

    def find(self, text: str, limit: int = 20) -> Found:
        """Parts, kits and kinds that go with what somebody types; at most `limit` parts."""
        return self._bench.lookup.find(text, limit)

    def mates(self, part: str, vehicle: str | None = None, language: str = "en") -> list[Mate]:
        """What mates with a part, in the catalog or in one vehicle.  Raises NotOnRecord."""
        fitter = self._fitter(part, language=language)
        return fitter.mates(part, self.vehicle(vehicle) if vehicle is not None else None)

    def equals(self, part: str) -> list[PartLine]:
        """Which parts are equal to this one.  Raises NotOnRecord."""
        return self._fitter(part).equals(part)

    def vehicle(self, name: str) -> Vehicle:
        """A vehicle as received.  Raises NotOnRecord."""
        found = self.holdings.catalog.vehicles.get(name)
        if found is None:
            known = ", ".join(self.holdings.catalog.vehicles)
            raise NotOnRecord(f"there is no vehicle {name!r} on record; there are: {known}")
        return found

    def takers(self, part_id: str) -> list[Taker]:
        """Which vehicles on record could take a part, at which position, and what each would then need.

        Raises NotOnRecord.
        """
        self._fitter(part_id)
        bench = self._bench
        model, catalog = bench.holdings.model, bench.holdings.catalog
        ancestors = model.kinds[catalog.parts[part_id].kind].ancestors
        takers = []
        for vehicle in catalog.vehicles.values():
            for position in model.layouts[vehicle.layout].positions:
                if model.roles[position.role].kind in ancestors:
                    takers.append(self._taker(bench, part_id, vehicle.id, position.path))
        return takers

    def _taker(self, bench: Bench, part: str, vehicle: str, path: str) -> Taker:
        possible: bool | None
        cost: Cost | None = None
        also: tuple[str, ...] = ()
        why_not: tuple[str, ...] = ()
        try:
            found = bench.searcher.propose(Ask(vehicle=vehicle, fit=(FitWish(at=path, part=part),)))
        except SearchLimit as limit:
            possible, why_not = None, (f"The search reached a stated limit: {limit}.",)
        else:
            possible = isinstance(found, Proposal)
            if isinstance(found, Proposal):
                cost, also = told_cost(found.cost), tuple(p for p in found.choices if p in found.causes)
            else:
                why_not = ("No choice of other parts on record goes together with it here.",)
        return Taker(
            vehicle=vehicle,
            vehicle_label=bench.holdings.catalog.vehicles[vehicle].label,
            position=path,
            possible=possible,
            cost=cost,
            also=also,
            why_not=why_not,
        )

    # ------------------------------------------------------------------ imports

    def import_text(self, source: str, text: bytes, media_type: str, kind: str = "") -> Imported:
        """Import one text, all or nothing; answers change once it is on record.  Raises Refused."""
        with self._writing:
            imported = self.library.import_text(source, text, media_type, kind)
        self.catch_up()
        return imported

    def import_path(self, path: Path, kind: str | None = None) -> Imported:
        """Import a file or a folder, all or nothing.  Raises Refused."""
        with self._writing:
            imported = self.library.import_path(path, kind)
        self.catch_up()
        return imported

    def reread(self) -> None:
        """Answer by what the ontology and its packs say now, all or nothing.

        Raises BrokenText, BrokenOntology or Refused; nothing has changed then.
        """
        with self._writing:
            self.library.reread()
        self.catch_up()


def _telling(model: Model, told_in: Mapping[str, str] | None) -> Model:
    """The model as one reader wants it told."""
    return model.model_copy(update={"told_in": dict(told_in)}) if told_in else model
