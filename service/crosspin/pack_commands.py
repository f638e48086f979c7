"""The commands for packs: check one, start one, list those that are in use."""

import argparse
import json
import os
import shutil
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from time import perf_counter

from crosspin.answer.desk import Desk
from crosspin.home import data_folder, folders_in
from crosspin.rules.inspection import Fault, Inspection
from crosspin.rules.second_engine import AVAILABLE
from crosspin.rules.template import start_pack
from crosspin.store.packs import BrokenPack

WITHOUT_SHAPES = "The shapes were not looked at: pySHACL is not installed. Install crosspin[bench]."
_LEAST_PERCENT = 95


def packs_of(given: argparse.Namespace) -> list[Path]:
    """The folders of packs in use: those on the command line, or else those of CROSSPIN_PACKS."""
    chosen: list[Path] = given.packs
    return chosen or folders_in(os.environ.get("CROSSPIN_PACKS", ""))


def add_packs_option(parser: argparse.ArgumentParser) -> None:
    """Let a command take folders of packs."""
    parser.add_argument(
        "--packs",
        action="append",
        type=Path,
        default=[],
        metavar="DIR",
        help="lay the pack in this folder upon the ontology; may be given again (default: CROSSPIN_PACKS)",
    )


def add_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `pack` with its own commands."""
    text = "check a pack of rules, start one, list those in use"
    packs = commands.add_parser("pack", help=text, description=text).add_subparsers(required=True, metavar="COMMAND")

    def command(name: str, run: Callable[[argparse.Namespace], int], words: str) -> argparse.ArgumentParser:
        sub = packs.add_parser(name, help=words, description=words)
        sub.set_defaults(run=run)
        return sub

    check = command("check", _check, "say what is wrong with a pack, by file and term; without one, with all shipped")
    check.add_argument("folder", nargs="*", type=Path, metavar="DIR", help="folder of a pack")
    check.add_argument("--thorough", action="store_true", help="second engine, mutants and joints too; takes a while")
    check.add_argument("--json", action="store_true", help="tell programs")
    add_packs_option(check)
    new = command("new", _new, "start a pack from a template that passes every check")
    new.add_argument("folder", type=Path, metavar="DIR", help="folder to make; its name becomes that of the part")
    lists = command("list", _list, "the packs in use: what they add, and what they replace and why")
    lists.add_argument("--json", action="store_true", help="tell programs")
    add_packs_option(lists)


# ---------------------------------------------------------------------- check


def _check(given: argparse.Namespace) -> int:
    folders: list[Path] = given.folder
    others = [folder for folder in packs_of(given) if folder.resolve() not in {f.resolve() for f in folders}]
    started = perf_counter()
    try:
        inspection = Inspection(data_folder("ontology"), [*others, *folders], folders)
        faults = list(inspection.quick())
    except BrokenPack as broken:
        return _told(given, broken.faults, {})
    _progress(f"words, style, profile, layers, cases: {_seconds(started)}")
    if not AVAILABLE:
        _progress(WITHOUT_SHAPES)
    more: dict[str, object] = {}
    if given.thorough and not faults:
        faults, more = _thorough(inspection, [*others, *folders])
    return _told(given, faults, more)


def _thorough(inspection: Inspection, packs: Sequence[Path]) -> tuple[list[Fault], dict[str, object]]:
    faults: list[Fault] = []
    started = perf_counter()
    if AVAILABLE:
        faults += inspection.disagreements()
        _progress(f"the second engine on {len(inspection.cases)} cases: {_seconds(started)}")
    started = perf_counter()
    faults += inspection.joints_without_parts(Desk.open(None, packs).holdings.catalog)
    _progress(f"parts that go together at each joint: {_seconds(started)}")
    started = perf_counter()
    found = inspection.mutants()
    tried = 0

    def note() -> None:
        nonlocal tried
        tried += 1
        if tried % 50 == 0 or tried == len(found):
            _progress(f"mutants: {tried} of {len(found)}, {_seconds(started)}")

    score = inspection.hunt(found, note)
    survivors = [mutant.name for mutant in score.survivors]
    if score.percent < _LEAST_PERCENT:
        right = f"Add cases just inside and just outside each limit until {_LEAST_PERCENT} percent are noticed"
        wrong = f"cases notice {score.percent} percent of {score.tried} mutants"
        faults.append(Fault(", ".join(map(str, inspection.folders)), wrong, right))
    return faults, {"mutants": score.tried, "noticed_percent": str(score.percent), "survivors": survivors}


def _progress(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _seconds(started: float) -> str:
    return f"{perf_counter() - started:.1f} s"


def _told(given: argparse.Namespace, faults: Iterable[Fault], more: dict[str, object]) -> int:
    told = list(faults)
    if given.json:
        lines = [{"place": f.place, "wrong": f.wrong, "mend": f.right} for f in told]
        print(json.dumps({"faults": lines, **more}, ensure_ascii=False, indent=2))
    else:
        for fault in told:
            print(fault)
        if more:
            print(f"Cases notice {more['noticed_percent']} percent of {more['mutants']} mutants.")
            survivors = more["survivors"]
            assert isinstance(survivors, list)
            for survivor in survivors:
                print(f"  not noticed: {survivor}")
        print(f"{len(told)} {'fault' if len(told) == 1 else 'faults'}" if told else "No faults.")
    return 1 if told else 0


# ---------------------------------------------------------------------- new, list


def _new(given: argparse.Namespace) -> int:
    folder: Path = given.folder
    try:
        written = start_pack(folder)
    except (FileExistsError, ValueError) as error:
        print(f"{folder}: {error}", file=sys.stderr)
        return 2
    for path in written:
        print(path)
    program = shutil.which("crosspin") and "crosspin"
    print(f"Now try: {program or 'python -m crosspin.cli'} pack check --thorough {folder}")
    return 0


def _list(given: argparse.Namespace) -> int:
    packs = Desk.open(None, packs_of(given)).library.packs
    if given.json:
        told = [
            {
                "name": pack.name,
                "folder": str(pack.folder),
                "terms": len(pack.terms),
                "adds": pack.additions,
                "replaces": [str(r) for r in pack.replacements],
            }
            for pack in packs
        ]
        print(json.dumps(told, ensure_ascii=False, indent=2))
        return 0
    for pack in packs:
        print(f"{pack.name} ({pack.folder}): {len(pack.terms)} terms")
        for line in (*(f"adds to {a}" for a in pack.additions), *map(str, pack.replacements)):
            print(f"  {line}")
    if not packs:
        print("No packs beside what is shipped.")
    return 0
