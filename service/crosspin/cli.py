"""The command line: serve, ask, why-not, import, fit, mates, pack.

Exit codes: 0 answered, 1 answered with a contradiction, 2 the input is wrong.  Answers go to standard
output, everything else to standard error, a problem a line: "place: wrong. mend".
"""

import argparse
import os
import sqlite3
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from time import perf_counter

import uvicorn
from pydantic import TypeAdapter, ValidationError

from crosspin.answer.desk import Desk, NotOnRecord, open_library, refuse_unusable
from crosspin.answer.plan import Contradiction, CriterionLine, Mate
from crosspin.answer.text import tell_text
from crosspin.api.problems import validation_lines
from crosspin.api.prompt import PromptConnection
from crosspin.api.settings import Settings, WrongSetting
from crosspin.catalog.library import Imported, Library
from crosspin.collector import collect_seldom
from crosspin.home import data_folder, user_store
from crosspin.knockon.ask import Ask, AskError, Fit
from crosspin.knockon.limits import SearchLimit
from crosspin.model.drafts import Problem, Refused
from crosspin.model.reader import BrokenOntology
from crosspin.pack_commands import add_commands, add_packs_option, packs_of
from crosspin.store.graph import BrokenText

ANSWERED, CONTRADICTION, BAD_INPUT = 0, 1, 2
HANGS = 60
"""Seconds after which a process of the service that does not stir is replaced."""

_HELD = {True: "yes", False: "no", None: "open"}


class BadInput(Exception):
    """What was given on the command line cannot be used; `lines` say where, what, and what would be right."""

    def __init__(self, *lines: str) -> None:
        super().__init__("\n".join(lines))
        self.lines = lines


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    given = _parser().parse_args(arguments)
    collect_seldom()
    run: Callable[[argparse.Namespace], int] = given.run
    try:
        return run(given)
    except (AskError, Refused) as error:
        return _bad(_problem_lines(error.problems))
    except BadInput as error:
        return _bad(error.lines)
    except NotOnRecord as error:
        return _bad([_as_problem(str(error))])
    except SearchLimit as error:
        return _bad([f"the ask: {error}. Keep more positions, or ask for parts by id"])
    except (WrongSetting, BrokenText, BrokenOntology) as error:
        return _bad([str(error)])
    except BrokenPipeError:
        # Whoever reads our output has enough of it; do not complain at exit either.
        sys.stderr.close()
        return ANSWERED


def _bad(lines: Iterable[str]) -> int:
    for line in lines:
        print(line, file=sys.stderr)
    return BAD_INPUT


def _problem_lines(problems: Iterable[Problem]) -> list[str]:
    return [f"{p.place}: {p.wrong}. {p.mend}" for p in problems]


def _as_problem(message: str) -> str:
    wrong, _, mend = message.partition("; ")
    return f"on record: {wrong}. {mend[:1].upper()}{mend[1:]}"


# ---------------------------------------------------------------------- commands


def _library(given: argparse.Namespace) -> Library:
    """The store that is named, or else the user's own, which has the demo catalog in it."""
    named = given.store or os.environ.get("CROSSPIN_STORE")
    folder = Path(named) if named else user_store()
    try:
        library = open_library(folder, packs_of(given))
    except (OSError, sqlite3.OperationalError) as error:
        raise BadInput(f"{folder}: it cannot be opened ({error}). Give a folder that you may write to") from None
    if not named:
        _keep_demo(library)
    library.take_in_data()
    return library


def _keep_demo(library: Library) -> None:
    """Put the demo catalog on record where it is not, or not as it is shipped now."""
    demo = data_folder("seed_data")
    if library.has(demo):
        return
    print(f"Putting the demo catalog into {library.folder} ...", file=sys.stderr, flush=True)
    try:
        library.import_folder(demo)
    except Refused as refused:
        if demo.name not in library.sources():
            raise
        print("It stays as it was, because of what else is there:", file=sys.stderr)
        _bad(_problem_lines(refused.problems))


def _desk(given: argparse.Namespace) -> Desk:
    return Desk(_library(given))


def _serve(given: argparse.Namespace) -> int:
    Settings.from_environment()
    library = _library(given)  # made ready here, so that the processes of the service only open it
    refuse_unusable(library)
    os.environ |= {"CROSSPIN_STORE": str(library.folder), "CROSSPIN_PACKS": os.pathsep.join(map(str, packs_of(given)))}
    uvicorn.run(
        "crosspin.api.app:served",
        factory=True,
        http=PromptConnection,
        host=given.host,
        port=given.port,
        workers=given.processes,
        server_header=False,
        access_log=False,  # a line for each would take longer than an answer that is kept
        timeout_worker_healthcheck=HANGS,
    )
    return ANSWERED


def _ask(given: argparse.Namespace) -> int:
    ask = _asked(given)
    desk = _desk(given)
    times: dict[str, float] = {}
    told = desk.ask(ask, times, language=given.language)
    print(told.model_dump_json(indent=2) if given.json else tell_text(told), end="\n" if given.json else "")
    if given.times:
        for stage, seconds in {**desk.timings, **times}.items():
            print(f"{stage:<36}{seconds * 1000:10.1f} ms", file=sys.stderr)
    return CONTRADICTION if isinstance(told, Contradiction) else ANSWERED


def _asked(given: argparse.Namespace) -> Ask:
    return _ask_from_file(given.file) if given.file else _ask_from_options(given)


def _ask_from_file(name: str) -> Ask:
    try:
        text = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
    except OSError as error:
        raise BadInput(f"{name}: it cannot be read ({error.strerror}). Give a file with an ask as JSON") from None
    try:
        return Ask.model_validate_json(text)
    except ValidationError as error:
        found = validation_lines(error.errors(include_url=False, include_context=False, include_input=False))
        raise BadInput(*(f"{p.place}: {p.wrong}. {p.mend}" for p in found)) from None


def _ask_from_options(given: argparse.Namespace) -> Ask:
    if not given.vehicle:
        raise BadInput(
            "ask: neither a file nor a vehicle is given. Give FILE, or --vehicle with --fit, --keep, --remove, --renew"
        )
    fits = []
    for text in given.fit:
        at, equals, part = text.partition("=")
        if not equals or not at or not part:
            raise BadInput(f"--fit {text}: it is not position=part. Write it like front/carrier=some-part")
        fits.append(Fit(at=at, part=part))
    return Ask(
        vehicle=given.vehicle,
        fit=tuple(fits),
        keep=tuple(given.keep),
        remove=tuple(given.remove),
        renew=tuple(given.renew),
    )


def _why_not(given: argparse.Namespace) -> int:
    told = _desk(given).why_not(_asked(given), given.rule, given.about)
    if given.json:
        print(told.model_dump_json(indent=2))
        return ANSWERED
    print(f"{told.rule}: {told.definition}")
    spoken = [place.at for place in told.places if place.spoke]
    print(f"It spoke at: {', '.join(spoken)}." if spoken else "It did not speak.")
    for place in told.places:
        print(f"{place.at}:")
        for tried in place.conditions:
            print(f"  {_HELD[tried.holds]:<5} {tried.condition}: {tried.found}")
    return ANSWERED


def _import(given: argparse.Namespace) -> int:
    library = _library(given)  # no desk, which cannot be had where what is in force has to be put right first
    library.progress = lambda parts, stage: print(f"{parts:,} {stage} ...", file=sys.stderr, end=" ", flush=True)
    done = []
    for path in given.path:
        if not path.exists():
            raise BadInput(
                f"{path}: there is no such file or folder. Give the path of a CSV or RDF file, or a folder of them"
            )
        started = perf_counter()
        print(f"{path} ...", file=sys.stderr, end=" ", flush=True)
        try:
            imported = library.import_path(path, given.kind)
        except Refused:
            print("refused", file=sys.stderr)
            raise
        print(f"{perf_counter() - started:.1f} s", file=sys.stderr)
        done.append(imported)
    if given.json:
        print(TypeAdapter(list[Imported]).dump_json(done, indent=2).decode())
    else:
        for imported in done:
            print(f"{imported.source}: {imported.parts} parts, {imported.kits} kits, {imported.vehicles} vehicles")
    return ANSWERED


def _fit(given: argparse.Namespace) -> int:
    told = _desk(given).fit(given.one, given.other, given.language)
    if given.json:
        print(told.model_dump_json(indent=2))
        return ANSWERED
    print(f"{told.left.label} and {told.right.label}: {told.verdict}")
    if not told.joints:
        print("They meet nowhere that the ontology knows of.")
    for line in told.criteria:
        print(_criterion(line))
    return ANSWERED


def _criterion(line: CriterionLine) -> str:
    sentence = f"  {line.sentence}" if line.sentence else ""
    return f"  {line.verdict:<8} {line.criterion}: {line.left} / {line.right}{sentence}"


def _mates(given: argparse.Namespace) -> int:
    mates = _desk(given).mates(given.part, given.vehicle, given.language)
    if given.json:
        print(TypeAdapter(list[Mate]).dump_json(mates, indent=2).decode())
        return ANSWERED
    for mate in mates:
        place = f"{mate.position}: " if mate.position else ""
        print(f"{mate.verdict:<8} {mate.joint_kind:<28} {place}{mate.part.label} [{mate.part.id}]")
        for because in mate.because:
            print(f"         {because}")
    return ANSWERED


# ---------------------------------------------------------------------- options


def _count(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of 1 or more")
    return int(text)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="crosspin", description="Which parts of a 4x4 driveline go together, and what else must change."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    def command(name: str, run: Callable[[argparse.Namespace], int], text: str) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, help=text, description=text)
        words = "folder of the store (default: CROSSPIN_STORE, or else your own, with the demo catalog in it)"
        sub.add_argument("--store", type=Path, metavar="DIR", help=words)
        add_packs_option(sub)
        sub.set_defaults(run=run)
        return sub

    serve = command("serve", _serve, "answer over HTTP")
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on (default: this machine only)")
    serve.add_argument("--port", type=int, default=8000)
    words = "processes that answer, all from the same store (default: 1)"
    serve.add_argument("--processes", type=_count, default=1, metavar="N", help=words)

    ask = command("ask", _ask, "what else must change; the ask as JSON in a file, or by options")
    why_not = command("why-not", _why_not, "why a rule did not speak in the plan for an ask")
    for sub in (ask, why_not):
        sub.add_argument("file", nargs="?", metavar="FILE", help="the ask as JSON; - for standard input")
        sub.add_argument("--vehicle", help="the vehicle, by id")
        sub.add_argument("--fit", action="append", default=[], metavar="AT=PART", help="fit this part there")
        sub.add_argument("--keep", action="append", default=[], metavar="PATTERN", help="keep what stands there")
        sub.add_argument("--remove", action="append", default=[], metavar="PATTERN", help="remove what stands there")
        sub.add_argument("--renew", action="append", default=[], metavar="PATTERN", help="renew what stands there")
        sub.add_argument("--json", action="store_true", help="answer as JSON")
    why_not.add_argument("--rule", required=True, help="the rule or criterion, such as those under /v1/rules")
    why_not.add_argument("--about", metavar="AT", help="a position, two (one--other), or a figure's place")
    ask.add_argument("--times", action="store_true", help="say on standard error how long each stage took")

    take_in = command("import", _import, "take parts, kits and vehicles in, each path all or nothing")
    take_in.add_argument("path", nargs="+", type=Path, metavar="PATH", help="a CSV or RDF file, or a folder of them")
    take_in.add_argument("--kind", help="kind of the parts of a CSV file that is not named after it")
    take_in.add_argument("--json", action="store_true", help="answer as JSON")

    fit = command("fit", _fit, "do two parts go together")
    fit.add_argument("one", metavar="ONE")
    fit.add_argument("other", metavar="OTHER")
    fit.add_argument("--json", action="store_true", help="answer as JSON")

    mates = command("mates", _mates, "what fits a part")
    mates.add_argument("part", metavar="PART")
    mates.add_argument("--vehicle", help="only what this vehicle has, with the verdict there")
    mates.add_argument("--json", action="store_true", help="answer as JSON")
    for sub in (ask, fit, mates):
        words = "language of labels and sentences, where the ontology has them in it (default: en)"
        sub.add_argument("--language", default="en", metavar="TAG", help=words)
    add_commands(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
