"""Long lists a page at a time: the token of the next page says where it starts, and means nothing else."""

import base64
import binascii
from collections.abc import Callable, Sequence
from typing import TypeVar

from crosspin.api.problems import ProblemLine, Refusal

Item = TypeVar("Item")


def token(last: str) -> str:
    """The token of the page that starts behind this id."""
    return base64.urlsafe_b64encode(last.encode()).decode().rstrip("=")


def last_of(text: str) -> str:
    """The id behind which a page starts, from its token; raises Refusal."""
    try:
        return base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True).decode()
    except (binascii.Error, ValueError):
        wrong = ProblemLine(
            place="next", wrong="this is no token of ours", mend="Send `next` of the page before, or leave it out"
        )
        raise Refusal(422, "unreadable", "The page cannot be found.", wrong) from None


def page_of(
    items: Sequence[Item], key: Callable[[Item], str], limit: int, after: str | None
) -> tuple[Sequence[Item], str | None]:
    """The items of one page and the token of the next; `items` are sorted by `key`."""
    start = 0
    if after is not None:
        last = last_of(after)
        start = next((i for i, item in enumerate(items) if key(item) > last), len(items))
    chosen = items[start : start + limit]
    more = start + limit < len(items)
    return chosen, token(key(chosen[-1])) if more else None
