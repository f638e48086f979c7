"""Sheets to print and to send: the order list and the work sheet of a plan."""

import csv
from io import StringIO

from crosspin.answer.plan import Plan
from crosspin.figures.exact import spell
from crosspin.page.address import AskAddress
from crosspin.page.cautions import Cautions
from crosspin.page.render import Pages, Visit

_RISKY = ("=", "+", "-", "@", "\t", "\r")


def order_csv(plan: Plan) -> str:
    """The order list as CSV: one row a line, amounts as plain decimals, CRLF as RFC 4180 says.

    Text that a spreadsheet would take for a formula gets an apostrophe in front.
    """
    text = StringIO()
    rows = csv.writer(text)
    rows.writerow(["quantity", "id", "label", "kit", "each", "total", "currency", "stock", "short", "serves"])
    for line in plan.order:
        rows.writerow(
            [
                line.quantity,
                _plain(line.id),
                _plain(line.label),
                "yes" if line.is_kit else "no",
                spell(line.each),
                spell(line.total),
                plan.totals.currency,
                "" if line.stock is None else line.stock,
                "yes" if line.short else "no",
                _plain("; ".join(line.serves)),
            ]
        )
    return text.getvalue()


def _plain(text: str) -> str:
    return f"'{text}" if text.startswith(_RISKY) else text


def order_sheet(pages: Pages, visit: Visit, address: AskAddress, plan: Plan) -> str:
    """The order list as a page that prints well."""
    shown = {"told": plan, "address": address, "currency": plan.totals.currency}
    return pages.page("sheet_order.html", visit, shown)


def work_sheet(pages: Pages, visit: Visit, address: AskAddress, plan: Plan) -> str:
    """The work in its order, with boxes to tick and room for readings, as a page that prints well."""
    cautions = Cautions(plan.cautions)
    left = cautions.left(frozenset(text for work in plan.work for text in work.cautions))
    jobs = [(work, cautions.of_texts(work.cautions)) for work in plan.work]
    shown = {"told": plan, "address": address, "jobs": jobs, "left": left, "currency": plan.totals.currency}
    return pages.page("sheet_work.html", visit, shown)
