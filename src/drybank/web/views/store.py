"""Store: banks and pockets as they stand, one glance."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from drybank.desk.pages import floor as floor_of
from drybank.web import site, work
from drybank.web.guard import Seat
from drybank.web.speech import page


@work.patient
def floor(request: HttpRequest, seat: Seat) -> HttpResponse:
    seen = floor_of(site.book(), seat.store, site.now(), work.use(seat.store), work.findings(seat))
    return page(request, "web/store.html", {"floor": seen})
