"""Devices: tokens for phones and programs, each for one person; shown once, ended at any time."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _

from drybank.records.errors import DrybankError, InputError
from drybank.web import devices as rules
from drybank.web import site
from drybank.web.guard import Seat
from drybank.web.models import EVERY_STORE, DeviceToken, Membership
from drybank.web.speech import page


def devices(request: HttpRequest, seat: Seat) -> HttpResponse:
    shown: dict[str, Any] = {"typed": {}, "days": rules.DAYS, "most_days": rules.MOST_DAYS}
    if request.method == "POST":
        try:
            secret = _change(request, seat)
        except DrybankError as wrong:
            shown |= {"mistakes": [wrong.sentence()], "typed": request.POST}
            return page(request, "web/devices.html", shown | _shown(seat), status=422)
        if not secret:
            return HttpResponseRedirect(reverse("devices", kwargs={"store": seat.store}))
        shown["secret"] = secret
    return page(request, "web/devices.html", shown | _shown(seat))


def _shown(seat: Seat) -> dict[str, Any]:
    now = site.now()
    found = DeviceToken.objects.filter(store=seat.store).select_related("person").order_by("person__handle", "-made")
    here = Membership.objects.filter(store__in=(seat.store, EVERY_STORE), person__is_active=True).select_related(
        "person"
    )
    owners = {m.person.handle for m in here if m.role == "owner"}
    people = sorted({m.person.handle for m in here} - (set() if "owner" in seat.roles else owners))
    living = [t for t in found if t.revoked is None and t.expires > now]
    return {"living": living, "ended": [t for t in found if t not in living][:20], "people": people}


def _change(request: HttpRequest, seat: Seat) -> str:
    """A secret where a token was made, else nothing."""
    what, number = request.POST.get("what", ""), request.POST.get("id", "")
    assert seat.person is not None
    if what == "make":
        days = request.POST.get("days", "")
        if not days.isdigit() or len(days) > 4:
            raise InputError(_("A token lasts 1 to %(days)d days.") % {"days": rules.MOST_DAYS}, where="days")
        said = {"handle": request.POST.get("handle", ""), "label": request.POST.get("label", "")}
        return rules.make(store=seat.store, now=site.now(), made_by=seat.person, days=int(days), **said)[0]
    if what != "end" or not number.isdigit() or len(number) > 12:
        raise InputError(_("This form is not one of yours."))
    ended = rules.revoke(int(number), seat.store, site.now())
    messages.success(request, _("Ended: %(label)s can send nothing more. What it sent stays.") % {"label": ended.label})
    return ""
