"""People: who may do what here, invitations that expire, roles taken away."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _

from drybank.records.errors import InputError
from drybank.web import people as rules
from drybank.web import site
from drybank.web.guard import Seat
from drybank.web.models import EVERY_STORE, Invitation, Membership
from drybank.web.rights import ROLES
from drybank.web.speech import page


def people(request: HttpRequest, seat: Seat) -> HttpResponse:
    shown: dict[str, Any] = {"typed": {}}
    if request.method == "POST":
        try:
            link = _change(request, seat)
        except InputError as wrong:
            shown |= {"mistakes": [wrong.sentence()], "typed": request.POST}
            return page(request, "web/people.html", shown | _shown(seat), status=422)
        if not link:
            return HttpResponseRedirect(reverse("people", kwargs={"store": seat.store}))
        shown["link"] = link
    return page(request, "web/people.html", shown | _shown(seat))


def _shown(seat: Seat) -> dict[str, Any]:
    members = (
        Membership.objects.filter(store__in=(seat.store, EVERY_STORE))
        .select_related("person")
        .order_by("person__handle", "role")
    )
    waiting = Invitation.objects.filter(store=seat.store, used=None, expires__gt=site.now()).order_by("expires")
    shares = [s.name for s in site.book().store_at(seat.store, site.now()).shares]
    return {"members": members, "waiting": waiting, "roles": ROLES, "shares": shares, "days": rules.DAYS_OPEN}


def _change(request: HttpRequest, seat: Seat) -> str:
    """A link where somebody was invited, else nothing."""
    what = request.POST.get("what", "")
    assert seat.person is not None
    if what == "invite":
        shares = [s.name for s in site.book().store_at(seat.store, site.now()).shares]
        partner = request.POST.get("partner", "")
        secret = rules.invite(
            store=seat.store, role=request.POST.get("role", ""), partner=partner if partner in shares else "", now=site.now(),
            made_by=seat.person.handle,
        )  # fmt: skip
        return request.build_absolute_uri(reverse("invited", kwargs={"secret": secret}))
    number = request.POST.get("id", "")
    if what == "withdraw" and number.isdigit():
        Invitation.objects.filter(store=seat.store, id=int(number), used=None).delete()
        messages.success(request, _("The invitation is withdrawn."))
    elif what == "remove" and number.isdigit():
        rules.remove(int(number), seat.store, seat.person)
        messages.success(request, _("The role is taken away. What this person entered stays signed in the book."))
    else:
        raise InputError(_("This form is not one of yours."))
    return ""
