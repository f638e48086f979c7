"""Faults planted in a sound pack are each told by file and term, with what is wrong and what right looks like."""

from collections.abc import Callable
from pathlib import Path
from shutil import copytree
from time import process_time

import pytest

from crosspin.home import data_folder
from crosspin.rules.inspection import inspect
from crosspin.store.packs import read_packs

WINCH = Path(__file__).parent / "packs" / "winch"
RULE = """
@prefix sh: <http://www.w3.org/ns/shacl#> .
cp:WinchRules a sh:NodeShape ; sh:targetClass cp:Contact ; sh:order 51 ; sh:rule cp:markWinch .
cp:markWinch a sh:SPARQLRule ; sh:order 51 ; sh:prefixes cp:prefixes ; rdfs:label "mark winch"@en ;
  skos:definition "A winch on a pump that gives enough is marked."@en ;
  sh:construct \"\"\"CONSTRUCT { $this cp:isBarred true . }
WHERE { $this cp:ofJointKind cp:winchOnPump . }\"\"\" .
"""
RULE_CASE = """
case:marked a cp:Case ; cp:tests cp:markWinch ; cp:given case:flow-40 ;
  cp:expects case:marked-yes ; cp:refuses case:marked-no .
GRAPH case:marked-yes { case:c40 cp:isBarred true . }
GRAPH case:marked-no { case:c40 cp:isBarred false . }
"""


def planted(tmp_path: Path, *changes: tuple[str, str, str]) -> tuple[Path, list[str]]:
    """The pack with pieces of its files replaced ("" for the end of a file), and what is said of it."""
    pack = copytree(WINCH, tmp_path / "winch")
    for name, right, wrong in changes:
        path = pack / name
        text = path.read_text(encoding="utf-8")
        assert right in text
        path.write_text(text.replace(right, wrong, 1) if right else text + wrong, encoding="utf-8")
    return pack, [str(fault) for fault in inspect(data_folder("ontology"), [pack])]


def test_the_pack_is_sound_without_them() -> None:
    assert inspect(data_folder("ontology"), [WINCH]) == ()


FAULTS = {
    "a wrong tolerance": (
        [("rules.ttl", "cp:upper 0 ;", "cp:upper 5 ;")],
        "cases.trig, case:flow-short: the graph case:flow-41-clashes is expected but does not follow;"
        " its cp:hasVerdict is cp:fits. Mend the rule, or the case if it asks for what is not so.",
    ),
    "a missing case": (
        [("cases.trig", "cp:tests cp:winchNeedsPump", "cp:tests cp:winchOnPump-oilFlow")],
        "rules.ttl, cp:winchNeedsPump: no case expects anything of it."
        " Add a case with cp:tests of this term and cp:expects.",
    ),
    "a limit without cases": (
        [
            (
                "rules.ttl",
                "",
                "@prefix unit: <http://qudt.org/vocab/unit/> . "
                'cp:winchFlow a cp:Figure ; rdfs:label "flow of the winch"@en ; cp:figuredAt cp:WholeVehicle ;'
                " cp:computedBy cp:difference ; cp:decimals 1 ; cp:unit unit:L-PER-MIN ; cp:takes ("
                ' [ cp:asInput "first" ; cp:readsRole cp:WinchRole ; cp:readsFeature cp:oilInlet ;'
                " cp:readsDimension cp:oilFlow ]"
                ' [ cp:asInput "second" ; cp:constant 0 ; cp:unit unit:L-PER-MIN ; rdfs:label "nothing"@en ] ) ;'
                ' cp:atMost [ rdfs:label "limit"@en ; cp:constant 60 ; cp:says "{value} of {limit}."@en ] ;'
                " cp:severity cp:costsDearly ; cp:hasEvidence cp:commonPractice ;"
                ' skos:definition "What the winch asks for."@en ; skos:example "40 L/min."@en .',
            )
        ],
        "rules.ttl, cp:winchFlow-atMost: no case expects anything of it."
        " Add a case with cp:tests of this term and cp:expects.",
    ),
    "a negation before its facts": (
        [
            (
                "rules.ttl",
                "",
                RULE.replace("cp:winchOnPump . }", "?k . FILTER NOT EXISTS { $this cp:isBarred true } }"),
            ),
            ("cases.trig", "", RULE_CASE),
        ],
        "rules.ttl, cp:markWinch: layer 51 denies isBarred, which cp:markWinch adds in layer 51."
        " Move the rule to a layer after that, or deny something that earlier layers have completed.",
    ),
    "a blank head": (
        [
            ("rules.ttl", "", RULE.replace("$this cp:isBarred true", "[] cp:onContact $this")),
            ("cases.trig", "", RULE_CASE),
        ],
        "rules.ttl, cp:markWinch: the query uses a blank node in the head."
        " Use joins, FILTER, BIND and FILTER NOT EXISTS only, and mint IRIs in place of blank nodes.",
    ),
    "a double": (
        [("terms.ttl", "cp:oilOutlet a cp:Feature", "cp:pumpPort a cp:Feature")],
        "terms.ttl, cp:pumpPort: cp:pumpPort is defined twice, here and in"
        " {ontology}/packs/steering/terms.ttl. Give the new term a name of its own.",
    ),
    "an undeclared prefix": (
        [("rules.ttl", "", RULE.replace("cp:isBarred", "mine:isBarred")), ("cases.trig", "", RULE_CASE)],
        "rules.ttl, cp:markWinch: the query uses the prefix mine:, which its sh:prefixes do not declare."
        " Use the prefixes of cp:prefixes, or declare the prefix where sh:prefixes leads.",
    ),
    "a misspelt dimension": (
        [("rules.ttl", "cp:rightDimension cp:oilFlow", "cp:rightDimension cp:oilFlwo")],
        "rules.ttl, cp:winchOnPump-oilFlow: cp:oilFlwo is not defined anywhere. Did you mean cp:oilFlow?.",
    ),
    "a joint between kinds that lack the feature": (
        [("rules.ttl", "cp:rightFeature cp:oilOutlet", "cp:rightFeature cp:oilInlet")],
        "rules.ttl, cp:winchOnPump: cp:winchOnPump needs cp:oilInlet, which parts of cp:WinchPump do not have."
        " Mend the term named.",
    ),
    "a cycle of needs": (
        [
            (
                "rules.ttl",
                "",
                'cp:pumpForbidsWinch a cp:Need ; rdfs:label "pump forbids winch"@en ; cp:hasScope cp:wholeVehicle ;'
                " cp:whenRole cp:WinchPumpRole ; cp:thenRole cp:WinchRole ; cp:thenEmpty true ;"
                ' cp:says "{part} takes the room."@en ; cp:severity cp:warns ; cp:hasEvidence cp:commonPractice ;'
                ' skos:definition "No room."@en ; skos:example "None."@en .',
            )
        ],
        "rules.ttl, cp:winchNeedsPump: the needs go in a circle: cp:winchNeedsPump > cp:pumpForbidsWinch asks for"
        " nothing where the cp:HydraulicWinch stands that began it. Drop one of them, or narrow its condition.",
    ),
    "an override that is not declared": (
        [("rules.ttl", "", "cp:hoseOnVent-barbDiameter cp:lower -0.2 .")],
        "rules.ttl, cp:hoseOnVent-barbDiameter: cp:lower of cp:hoseOnVent-barbDiameter is changed, which"
        " {ontology}/packs/vents/joints.ttl defines, without saying so. Declare it: a cp:Replacement with"
        " cp:replacesTerm cp:hoseOnVent-barbDiameter, cp:replacesProperty cp:lower and cp:because; or leave it alone.",
    ),
    "a rule that never fires": (
        [
            ("rules.ttl", "", RULE.replace("cp:winchOnPump . }", "cp:winchOnPump ; cp:isUnsafe true . }")),
            (
                "cases.trig",
                "",
                RULE_CASE.replace("cp:expects case:marked-yes ;", "").replace("cp:isBarred true", "a cp:Spec"),
            ),
            ("cases.trig", "GRAPH case:marked-yes { case:c40 a cp:Spec . }", ""),
        ],
        "rules.ttl, cp:markWinch: the rule derives nothing in any of its cases."
        " Mend its WHERE, or give a case something from which it follows.",
    ),
    "a severity that is none": (
        [("rules.ttl", "cp:severity cp:stopsAssembly", "cp:severity cp:WholeVehicle")],
        "rules.ttl, cp:winchNeedsPump: cp:winchNeedsPump has cp:severity WholeVehicle, which is none; known:"
        " stopsAssembly, hurtsSomeone, costsDearly, warns, informs. Mend the term named.",
    ),
    "a sentence without its values": (
        [("rules.ttl", "the pump gives {right}.", "the pump gives less.")],
        "rules.ttl, cp:winchOnPump-oilFlow: the house style is not kept."
        " The sentence for a clash names both values: put {right} into it.",
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_planted_fault_is_told(fault: str, tmp_path: Path) -> None:
    changes, message = FAULTS[fault]
    pack, said = planted(tmp_path, *changes)
    assert f"{pack}/{message.replace('{ontology}', str(data_folder('ontology')))}" in said


# ---------------------------------------------------------------------- more that people do


def test_text_that_does_not_parse_is_told_by_line(tmp_path: Path) -> None:
    pack, said = planted(tmp_path, ("terms.ttl", "@prefix skos:", "@prefix skoss:"))
    assert len(said) == 1
    assert said[0].startswith(f"{pack}/terms.ttl, line 8: ")
    assert "skos:" in said[0]


def test_a_sentence_with_a_placeholder_that_nothing_fills_is_told(tmp_path: Path) -> None:
    pack, said = planted(tmp_path, ("rules.ttl", "the pump gives {right}.", "{pump} gives {right}."))
    assert said == [
        f"{pack}/rules.ttl, cp:winchOnPump-oilFlow: the sentence has the placeholder {{pump}}, which nothing fills."
        " Use {left}, {leftPart}, {right}, {rightPart}."
    ]


def test_a_rule_for_a_kind_that_never_stands_there_is_told(tmp_path: Path) -> None:
    pack, said = planted(
        tmp_path, ("rules.ttl", "cp:whenRole cp:WinchRole ;", "cp:whenRole cp:WinchRole ; cp:whenKind cp:WinchPump ;")
    )
    assert (
        f"{pack}/rules.ttl, cp:winchNeedsPump: cp:WinchRole takes cp:HydraulicWinch, which a cp:WinchPump never is."
        " Name a kind that stands in the role, or another role."
    ) in said


def test_a_broken_case_is_told(tmp_path: Path) -> None:
    _, said = planted(tmp_path, ("cases.trig", "cp:expects case:flow-41-clashes", "cp:expects case:flow-42-clashes"))
    assert any(
        "names the graph https://crosspin.example/case/flow-42-clashes, which is empty or not there" in s for s in said
    )


def test_a_term_of_ones_own_defined_in_two_files_is_told(tmp_path: Path) -> None:
    kind = 'cp:WinchPump a cp:Kind ; skos:altLabel "oil pump"@en .'
    pack, said = planted(tmp_path, ("rules.ttl", "", kind))
    assert (
        f"{pack}/terms.ttl, cp:WinchPump: cp:WinchPump is defined twice, here and in {pack}/rules.ttl."
        " Keep one of the two."
    ) in said


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    (said,) = inspect(data_folder("ontology"), [tmp_path / "nowhere"])
    assert (
        str(said) == f"{tmp_path}/nowhere: there is no such folder. Give the folder that holds the pack's Turtle files."
    )


def test_a_deprecated_term_is_told_with_what_to_write(tmp_path: Path) -> None:
    line = "cp:winchLine a cp:KitLine ; cp:contains cp:winchOnPump ; cp:quantity 1 ."
    pack, said = planted(tmp_path, ("rules.ttl", "", line))
    assert f"{pack}/rules.ttl, cp:winchLine: cp:contains is deprecated. Write cp:listsPart." in said


def test_a_term_that_is_deprecated_for_nothing_else_is_told(tmp_path: Path) -> None:
    pack, said = planted(tmp_path, ("terms.ttl", "", "cp:oilOutlet owl:deprecated true ."))
    for message in ("by dcterms:isReplacedBy what is written in place of a deprecated term", "by cp:deprecatedSince"):
        assert any(f"{pack}/terms.ttl, cp:oilOutlet: the house style is not kept" in s and message in s for s in said)


def test_the_quick_check_takes_less_than_two_seconds() -> None:
    """Reading the ontology takes a quarter of a second on an idle machine; two seconds are eight times that, which
    holds also where the machine is slow or busy."""

    def seconds(work: Callable[[], object]) -> float:
        started = process_time()
        work()
        return process_time() - started

    folder = data_folder("ontology")
    pairs = [
        (seconds(lambda: inspect(folder, [WINCH])), seconds(lambda: read_packs(folder, [WINCH]))) for _ in range(3)
    ]
    assert min(checking / reading for checking, reading in pairs) < 8
