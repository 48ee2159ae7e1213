"""The pages of accounts: to sign in and out, one's own account, and for administrators the people and the log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import parse_qsl

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from listener.errors import CrownsoleError, UsageError
from listener.pages.app import page
from listener.school.access import Log, client_of
from listener.school.door import SIGN_IN, SIGNED_IN, Public
from listener.school.passwords import LONGEST, SHORTEST
from listener.school.people import People, Person
from listener.school.signing_in import Door, SignedIn, SignIns

WRONG = (
    "This name and password do not belong together, or the account is shut, or there were too many tries. "
    "Try again in some minutes, or ask your school."
)
_MOST_LOG = 200


@dataclass(frozen=True, slots=True)
class Accounts:
    """What the pages of accounts work with."""

    people: People
    door: Door
    sign_ins: SignIns
    log: Log
    public: Public


def open_routes(accounts: Accounts) -> list[BaseRoute]:
    """The one page that is served to those who are not signed in."""
    pages = _Pages(accounts)
    return [Route(SIGN_IN, pages.asked), Route(SIGN_IN, pages.sign_in, methods=["POST"])]


def own_routes(accounts: Accounts) -> list[BaseRoute]:
    """What everyone with an account has."""
    pages = _Pages(accounts)
    return [
        Route("/", pages.home),
        Route("/sign-out", pages.sign_out, methods=["POST"]),
        Route("/account", pages.account),
        Route("/account", pages.change, methods=["POST"]),
    ]


def people_routes(accounts: Accounts) -> list[BaseRoute]:
    """What administrators have."""
    pages = _Pages(accounts)
    return [Route("/people", pages.people, name="people"), Route("/people", pages.shut, methods=["POST"])]


class _Pages:
    """One method a route."""

    def __init__(self, accounts: Accounts) -> None:
        self._ = accounts

    def home(self, request: Request) -> Response:
        return RedirectResponse("/people" if _signed_in(request).person.role == "administrator" else "/runs", 303)

    def asked(self, request: Request) -> Response:
        if request.scope[SIGNED_IN] is not None:
            return RedirectResponse("/", 303)
        return self._asking(request, request.query_params.get("next", "/"))

    def _asking(self, request: Request, after: str, *, said: str = "", status: int = 200) -> Response:
        return page(request, "sign_in.html", status=status, title="Sign in", said=said, after=local(after))

    async def sign_in(self, request: Request) -> Response:
        form = await _form(request)
        return await run_in_threadpool(self._sign_in, request, form)

    def _sign_in(self, request: Request, form: Mapping[str, str]) -> Response:
        address, name, after = client_of(request.scope), form.get("name", ""), form.get("next", "/")
        if self._.door.is_shut(address):
            return self._asking(request, after, said=WRONG, status=429)
        person = self._.door.enter(name, form.get("password", ""), address)
        if person is None:
            self._.log.write(self._known(name), "sign in", "refused", address)
            return self._asking(request, after, said=WRONG, status=403)
        old = request.cookies.get(self._.public.cookie_name)
        signed_in = self._.sign_ins.begin(person, old)
        self._.log.write(person.name, "sign in", "done", address)
        answer = RedirectResponse(local(after), 303)
        self._.public.set_cookie(answer, signed_in.token)
        return answer

    def _known(self, name: str) -> str:
        """A name for the log: of an account that is there. What else was typed may be a password."""
        try:
            return self._.people.get(name).name
        except CrownsoleError:
            return "-"

    def sign_out(self, request: Request) -> Response:
        signed_in = _signed_in(request)
        self._.sign_ins.end(signed_in.token)
        answer = RedirectResponse(SIGN_IN, 303)
        self._.public.drop_cookie(answer)
        return answer

    def account(self, request: Request) -> Response:
        return self._account(request)

    def _account(self, request: Request, *, said: str = "", status: int = 200) -> Response:
        person = _signed_in(request).person
        seen = self._.log.last(20, person.name)
        return page(request, "account.html", status=status, title="Your account", said=said, person=person, seen=seen,
                    shortest=SHORTEST, longest=LONGEST)

    async def change(self, request: Request) -> Response:
        form = await _form(request)
        return await run_in_threadpool(self._change, request, form)

    def _change(self, request: Request, form: Mapping[str, str]) -> Response:
        """A new password, for those who know the old one; all other sessions of the account end."""
        signed_in, address = _signed_in(request), client_of(request.scope)
        if form.get("new", "") != form.get("again", ""):
            return self._account(request, said="The new password was written in two ways. Nothing was changed.",
                                 status=400)
        if self._.door.enter(signed_in.person.name, form.get("old", ""), address) is None:
            self._.log.write(signed_in.person.name, "change password", "refused", address)
            return self._account(request, said="The password of now is not right. Nothing was changed.", status=403)
        try:
            self._.people.set_password(signed_in.person.name, form.get("new", ""))
        except UsageError as error:
            return self._account(request, said=f"{error} Nothing was changed.", status=400)
        self._.log.write(signed_in.person.name, "change password", "done", address)
        answer = RedirectResponse("/account", 303)
        self._.public.set_cookie(answer, self._.sign_ins.begin(signed_in.person).token)
        return answer

    def people(self, request: Request) -> Response:
        return page(request, "people.html", here="people", title="People", people=self._.people.all(),
                    seen=self._.log.last(_MOST_LOG), me=_signed_in(request).person.name)

    async def shut(self, request: Request) -> Response:
        form = await _form(request)
        return await run_in_threadpool(self._shut, request, form)

    def _shut(self, request: Request, form: Mapping[str, str]) -> Response:
        """Shut an account, or open it again."""
        me, name = _signed_in(request).person, form.get("name", "")
        disabled = form.get("do") == "shut"
        if form.get("do") not in ("shut", "open") or self._.people.get(name).name == me.name:
            raise UsageError("This cannot be done. Your own account is shut by another administrator.")
        person: Person = self._.people.disable(name, disabled)
        self._.log.write(me.name, f"{form['do']} account {person.name}", "done", client_of(request.scope))
        return RedirectResponse("/people", 303)


def local(address: str) -> str:
    """An address on this server to go on to; the first page for anything else."""
    plain = address.isprintable() and "\\" not in address and address.startswith("/") and not address.startswith("//")
    return address if plain and not address.startswith(SIGN_IN) else "/"


def _signed_in(request: Request) -> SignedIn:
    found = request.scope[SIGNED_IN]
    assert isinstance(found, SignedIn)
    return found


async def _form(request: Request) -> Mapping[str, str]:
    """The fields of a form. Raises :class:`UsageError`."""
    try:
        return dict(parse_qsl((await request.body()).decode("utf-8"), keep_blank_values=True, max_num_fields=20))
    except ValueError:
        raise UsageError("The page sent what cannot be read. Load it again.") from None
