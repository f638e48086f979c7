"""Real ids and texts of the seed data, shown in the description of every address; a test asks them all."""

from typing import Any

KIND = "RingAndPinionSet"
RULE = "gearsOnCarrier"
PART = "part"
OTHER_PART = "part"
READING = "sideGearSpline.toothCount=33"
SPEC = "spec"
KIT = "kit"
VEHICLE = "hill-patrol"
QUERY = """PREFIX cp: <https://crosspin.example/def/>
PREFIX rdfs: <http://www.w3.org/2000/01/rdf-schema#>
SELECT ?part ?label ?price WHERE {
  ?part a cp:RingAndPinionSet ; rdfs:label ?label ; cp:price ?price .
} ORDER BY ?price LIMIT 10"""
ASK: dict[str, Any] = {"vehicle": VEHICLE, "fit": [{"at": "front/carrier", "part": "x"}], "keep": ["rear/*"]}
CSV = """id,label,price,stock,lacks
,,EUR,,
"""
