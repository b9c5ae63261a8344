"""Phones that send to a served book: what the load, the kills and the tests share.

``python tests/web/phones.py BOOK PEOPLE`` serves a book to so many people, each with a device token, and prints both as JSON.
"""

import http.client
import json
import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

STORE = "saddle"
BATCH = 40
"""What the phone page sends at once."""


def serve(where, people):
    """Serve until killed; the people are made beside the book."""
    from drybank.desk.stamp import now
    from drybank.web import devices, serving, site

    site.begin(where)
    from drybank.web.models import DeviceToken, Membership, Person

    owner, _ = Person.objects.get_or_create(handle="owner", defaults={"password": "!"})
    Membership.objects.get_or_create(person=owner, store=STORE, role="owner")
    tokens = []
    for n in range(people):
        person, _ = Person.objects.get_or_create(handle=f"phone{n:03}", defaults={"password": "!"})
        for role in ("technician", "collector"):
            Membership.objects.get_or_create(person=person, store=STORE, role=role)
        DeviceToken.objects.filter(person=person).delete()
        tokens.append(devices.make(store=STORE, handle=person.handle, label=f"phone {n}", now=now(), made_by=owner)[0])
    serving.warm_intake(site.book())  # as `drybank open` does when it begins
    taken = serving.listen("127.0.0.1", 0)
    sys.stdout.write(json.dumps({"port": taken.getsockname()[1], "tokens": tokens}) + "\n")
    sys.stdout.flush()
    serving._answer(taken, None)


class Served:
    """A server of its own process on a book."""

    def __init__(self, where, people, state):
        said = {k: v for k, v in os.environ.items() if not k.startswith(("DRYBANK", "DJANGO"))} | {
            "XDG_STATE_HOME": str(state)
        }
        root = Path(__file__).parents[2]
        said["PYTHONPATH"] = f"{root / 'src'}"
        self.process = subprocess.Popen([sys.executable, __file__, where, str(people)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=said)  # fmt: skip
        line = self.process.stdout.readline()
        assert line, "the server did not begin"
        begun = json.loads(line)
        self.port, self.tokens = begun["port"], begun["tokens"]

    def kill(self):
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(30)
        self.process.stdout.close()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.kill()


def written(layout, phone, count, *, begun=None):
    """What one phone wrote on its rounds: readings of a machine, a box emptied, a note, a refund; each with its own id."""
    from drybank.records.ids import uuid7

    begun = begun or datetime.now(UTC) - timedelta(hours=6)
    devices, boxes, pockets = [*layout.meters], [*layout.boxes], [*layout.pockets]
    out = []
    for n in range(count):
        happened = begun + timedelta(seconds=60 * n + phone)
        ident = uuid7(int(happened.timestamp() * 1000), phone.to_bytes(2, "big") + n.to_bytes(2, "big") + os.urandom(6))
        turn = n % 10
        if turn < 6:
            some = [devices[(phone + n + i) % len(devices)] for i in range(3)]
            body = {
                "kind": "reading",
                "values": [{"device": d, "shown": 1000 + 10 * n + i} for i, d in enumerate(some)],
            }
        elif turn < 8:
            body = {"kind": "collection", "boxes": [boxes[(phone + n) % len(boxes)]], "bag": f"P{phone}-{n}"}
        elif turn == 8:
            body = {"kind": "refund", "pocket": pockets[n % len(pockets)], "minor": 100, "why": "no heat"}
        else:
            body = {
                "kind": "note",
                "at": pockets[n % len(pockets)],
                "says": f"Phone {phone}, line {n}: lint in the duct.",
            }
        out.append({"id": ident, "happened": happened.isoformat(), "body": body})
    return out


class Phone:
    """One phone: a connection kept open, its token, what was acknowledged, how long each answer took."""

    def __init__(self, served, number, *, timeout=60):
        self.served, self.number, self.timeout = served, number, timeout
        self.acknowledged, self.refused, self.seconds = {}, [], []
        self.wire = http.client.HTTPConnection("127.0.0.1", served.port, timeout=timeout)

    def send(self, entries, *, batch=BATCH):
        """In batches, as the phone page does; what is answered "stored" or "already" is acknowledged."""
        for start in range(0, len(entries), batch):
            self._one(entries[start : start + batch])

        self.wire.close()

    def _one(self, entries):
        raw = json.dumps({"entries": entries}).encode()
        heads = {"Content-Type": "application/json", "Authorization": f"Bearer {self.served.tokens[self.number]}"}
        while True:
            begun = time.perf_counter()
            self.wire.request("POST", f"/api/v1/stores/{STORE}/entries", raw, heads)
            answer = self.wire.getresponse()
            said = json.loads(answer.read())
            self.seconds.append(time.perf_counter() - begun)
            if answer.status not in (429, 503):
                break
            time.sleep(float(answer.headers.get("Retry-After") or 0.5))  # as the phone page does
        assert answer.status == 200, (answer.status, said)
        for one in said["answers"]:
            if one["said"] in ("stored", "already"):
                self.acknowledged[one["id"]] = one["said"]
            else:
                self.refused.append(one)


if __name__ == "__main__":
    serve(sys.argv[1], int(sys.argv[2]))
