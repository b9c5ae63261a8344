"""In and out: log-in, invitations, the first page after it, language before log-in."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import authenticate, login, logout
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

from drybank.records.errors import InputError, InputErrors, Missing
from drybank.web import people, site
from drybank.web.guard import Seat
from drybank.web.rights import BY_NAME
from drybank.web.speech import page

FIRST = ("today", "cash", "statements", "rounds", "book")


def _after(request: HttpRequest, where: str) -> str:
    """Only ever to a place on these pages."""
    is_ours = url_has_allowed_host_and_scheme(where, {request.get_host()}, require_https=request.is_secure())
    return where if where.startswith("/") and is_ours else reverse("home")


def log_in(request: HttpRequest, seat: Seat) -> HttpResponse:
    if seat.person:
        return HttpResponseRedirect(reverse("home"))
    where = request.POST.get("next") or request.GET.get("next") or ""
    typed = {"handle": request.POST.get("handle", "").strip().lower(), "next": where}
    if request.method != "POST":
        return page(request, "web/log_in.html", {"typed": typed, "has_owner": people.has_owner()})
    person = authenticate(request, handle=typed["handle"], password=request.POST.get("password", ""))
    if person is None:
        if getattr(request, "axes_locked_out", False):
            return locked_out(request, None)
        wrong = _("Name and password do not fit together. Nothing was changed; try again.")
        return page(request, "web/log_in.html", {"typed": typed, "mistakes": [wrong], "has_owner": True}, status=401)
    login(request, person)
    return HttpResponseRedirect(_after(request, where))


def locked_out(request: HttpRequest, *_given: Any, **_more: Any) -> HttpResponse:
    """Too many wrong passwords for this name from this place."""
    return page(request, "web/locked_out.html", {"minutes": round(60 * settings.AXES_COOLOFF_TIME)}, status=429)


def form_too_old(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The form came without its mark: from elsewhere, or after a log-out."""
    return page(request, "web/form_too_old.html", {}, status=403)


def ca_crt(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The place's certificate, to be put on a phone; it is no secret. Nothing where the pages are served otherwise."""
    if site.standing.ca is None:
        raise Http404
    headers = {"Content-Disposition": 'attachment; filename="drybank-ca.crt"'}
    return HttpResponse(site.standing.ca.read_bytes(), content_type="application/x-x509-ca-cert", headers=headers)


def log_out(request: HttpRequest, seat: Seat) -> HttpResponse:
    logout(request)
    return HttpResponseRedirect(reverse("log-in"))


def language(request: HttpRequest, seat: Seat) -> HttpResponse:
    chosen = request.POST.get("language", "")
    response = HttpResponseRedirect(_after(request, request.POST.get("next", "")))
    if chosen in dict(settings.LANGUAGES):
        if seat.person:
            seat.person.language = chosen
            seat.person.save(update_fields=["language"])
        response.set_cookie(
            settings.LANGUAGE_COOKIE_NAME, chosen, max_age=31_536_000, samesite="Strict", httponly=True,
            secure=settings.SESSION_COOKIE_SECURE,
        )  # fmt: skip
    return response


def invited(request: HttpRequest, seat: Seat, secret: str) -> HttpResponse:
    """The link of an invitation: a new account, or one more role for the person logged in."""
    try:
        open_one = people.invitation_of(secret, site.now())
    except Missing as gone:
        return page(request, "web/fault.html", {"sentences": [gone.sentence()]}, status=404)
    shown = {
        "invitation": open_one,
        "person": seat.person,
        "typed": {"handle": "", "name": ""},
        "store_said": _store_said(open_one.store),
    }
    if request.method != "POST":
        return page(request, "web/invited.html", shown)
    if seat.person:
        people.accept(secret, site.now(), seat.person)
        return HttpResponseRedirect(reverse("home"))
    typed = {k: request.POST.get(k, "") for k in ("handle", "name")}
    try:
        if request.POST.get("password", "") != request.POST.get("again", ""):
            raise InputError(_("The two passwords differ."), where="again")
        person = people.join(secret, site.now(), password=request.POST.get("password", ""), **typed)
    except InputError as wrong:
        several = wrong.errors if isinstance(wrong, InputErrors) else (wrong,)
        mistakes = [f"{e.what} {e.mend}".strip() for e in several]
        return page(request, "web/invited.html", shown | {"typed": typed, "mistakes": mistakes}, status=422)
    login(request, person, backend="django.contrib.auth.backends.ModelBackend")
    messages.success(request, _("Welcome. Your account is made."))
    return HttpResponseRedirect(reverse("home"))


def _store_said(store: str) -> str:
    known = site.book().stores()
    return site.book().store_at(store, site.now()).name if store in known else ""


def home(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Straight to the one store's first page; a list where there are several; what to do first in a new book."""
    mine = seat.stores()
    if not mine:
        return page(request, "web/first_run.html", {"owns_book": seat.owns_book})
    places = [(s, site.book().store_at(s, site.now()), _first_page(seat, s)) for s in mine]
    if len(places) == 1:
        return HttpResponseRedirect(places[0][2])
    return page(request, "web/home.html", {"places": places, "owns_book": seat.owns_book})


def _first_page(seat: Seat, store: str) -> str:
    roles = seat.roles_in(store)
    name = next((n for n in FIRST if n in BY_NAME and roles & set(BY_NAME[n].roles)), "home")
    return reverse(name, kwargs={"store": store}) if name != "home" else reverse("home")
