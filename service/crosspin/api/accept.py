"""Which of several formats an Accept header likes best."""

from collections.abc import Sequence

JSON = "application/json"
JSON_LD = "application/ld+json"
TURTLE = "text/turtle"
N_TRIPLES = "application/n-triples"
PLAIN = "text/plain"
CSV = "text/csv"
HTML = "text/html"
CSVW = "application/csvm+json"


def _ranges(accept: str) -> list[tuple[str, str, float]]:
    """The media ranges of an Accept header with their weights; what cannot be read weighs nothing."""
    found = []
    for item in accept.split(","):
        media, *parameters = (piece.strip() for piece in item.split(";"))
        main, _, sub = media.lower().partition("/")
        weight = 1.0
        for parameter in parameters:
            name, _, value = parameter.partition("=")
            if name.strip().lower() == "q":
                try:
                    weight = min(1.0, max(0.0, float(value)))
                except ValueError:
                    weight = 0.0
        if main and sub:
            found.append((main, sub, weight))
    return found


def choose(accept: str | None, offers: Sequence[str]) -> str | None:
    """The offer that an Accept header likes best, the earlier one where it likes two alike; None if none.

    The most exact range decides the weight of an offer (RFC 9110, 12.5.1).
    """
    if accept is None or not accept.strip():
        return offers[0]
    ranges = _ranges(accept)

    def weight(offer: str) -> float:
        main, _, sub = offer.partition("/")
        fitting = [(m != "*", s != "*", q) for m, s, q in ranges if m in ("*", main) and s in ("*", sub)]
        return max(fitting)[2] if fitting else 0.0

    best = max(offers, key=weight)  # max keeps the first of equals
    return best if weight(best) > 0 else None
