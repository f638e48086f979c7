"""Real ids and texts of the seed data, shown in the description of every address; a test asks them all."""

from typing import Any

KIND = "RingAndPinionSet"
RULE = "innerShaftInSideGear"
PART = "al-895-33"
OTHER_PART = "is-33-121-370-562"
SEARCHED_KIND = "Carrier"
TWIN = "ls-plain"
TYPED = "33 teeth"
READING = "sideGearSpline.toothCount=33"
SPEC = "InvoluteSpline-b91a0ae7e6fbfa6c"
KIT = "brake-345-4x44"
POSITION = "front/carrier"
VEHICLE = "hill-patrol"
SOURCE = "price-list.csv"
CSV_KIND = "CoverGasket"
CSV = """id,label,price,stock,lacks,gasketOutline.patternCode
,,EUR,,,
cg-895-cork,"Cork cover gasket, eleven-bolt-895",9.40,6,,eleven-bolt-895
"""
QUERY = """PREFIX cp: <https://crosspin.example/def/>
PREFIX rdfs: <http://www.w3.org/2000/01/rdf-schema#>
SELECT ?part ?label ?price WHERE {
  ?part a cp:RingAndPinionSet ; rdfs:label ?label ; cp:price ?price .
} ORDER BY ?price LIMIT 10"""
ASK: dict[str, Any] = {
    "vehicle": VEHICLE,
    "fit": [
        {"at": "front/housing", "part": "fh-895-hp-1600-b"},
        {"at": "front/carrier", "part": PART},
        {"at": "front/*/knuckle", "part": "kn-162-722"},
        {"at": "front/*", "kit": KIT},
    ],
    "keep": ["rear/housing", "rear/carrier", "transfer-case"],
}
