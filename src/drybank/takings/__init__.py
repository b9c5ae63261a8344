"""Takings: money from the slot to the statement.

moves     money by the day it is told on; closed weeks stay as they were closed
earned    coins laid over the days since their box was emptied before, to hold against hours
custody   collected, counted, handed over, deposited; where every cent is
channels  cards, apps and tokens by their statements
refunds   complaints and refunds against a pocket's share of the use
share     sales tax and a landlord's or partner's share, to the minor unit
close     the week's close, with what is missing and later adjustments
"""

from drybank.takings.boxes import box_findings, holdings, stands
from drybank.takings.channels import settle
from drybank.takings.close import close_week, week_of, week_span
from drybank.takings.custody import CustodyRule, bag_has_left, follow, rounds
from drybank.takings.journal import journal
from drybank.takings.refunds import clusters, rate_change
from drybank.takings.share import share_out, split_tax, tax_in_force
from drybank.takings.statement import IncomeTally, income_proof, period, statement

__all__ = [
    "CustodyRule", "IncomeTally", "bag_has_left", "box_findings", "close_week", "clusters", "follow", "holdings", "income_proof", "journal", "period", "rate_change", "rounds", "settle", "share_out", "split_tax", "stands", "statement", "tax_in_force",
    "week_of", "week_span",
]  # fmt: skip
