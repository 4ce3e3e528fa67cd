"""A mail server for tests: real SMTP over real sockets, misbehaving on request.

What happens to a message is written in the local part of its recipient, so that a test needs no side channel:

    defer-N...       451 at RCPT for the first N tries of that recipient, accepted afterwards
    defer-data-N...  the same, but after DATA, when the whole message has been handed over
    reject...        550 at RCPT
    refuse-data...   554 after DATA
    hang...          silence from RCPT on: no answer, and the connection stays open
    drop...          the first try is cut off after DATA, unanswered and not kept; later tries are accepted
    lose-answer...   the first try is kept and then cut off unanswered; later tries are accepted
    anything else    accepted

Accepted messages lie in FOLDER/messages as 000001.eml, 000002.eml and so on, each moved in place when complete, with
an `X-Envelope-To` line for each recipient on top. FOLDER/attempts.jsonl gets one line for each recipient of each try.
The first line on standard output is `listening PORT`. The server ends when its standard input is closed.
"""

import argparse
import asyncio
import email
import json
import os
import re
import signal
import ssl
import subprocess
import sys
from collections import Counter
from pathlib import Path

from aiosmtpd.smtp import SMTP, AuthResult, LoginPassword

DEFER = re.compile(r"^defer-(data-)?(\d+)")


def behaviour(address):
    """The way a recipient wants to be treated, and how many tries it takes until it gives in."""
    local_part = address.rpartition("@")[0].lower()
    deferred = DEFER.match(local_part)
    if deferred:
        return ("defer-data" if deferred[1] else "defer"), int(deferred[2])
    for name in ("reject", "refuse-data", "hang", "drop", "lose-answer"):
        if local_part.startswith(name):
            return name, 1
    return "accept", 0


async def silence():
    """Ends only by cancellation, which the SMTP library does when the connection is lost."""
    await asyncio.Event().wait()


class Desk:
    """Decides on each message, and writes down what it decided."""

    def __init__(self, folder):
        self.messages = folder / "messages"
        self.messages.mkdir(parents=True, exist_ok=True)
        self.attempts = folder / "attempts.jsonl"
        self.attempts.touch()
        self.tries = Counter()
        # A server started again on the same folder goes on counting where the last one stopped.
        for line in self.attempts.read_text(encoding="utf-8").splitlines():
            self.tries[json.loads(line)["recipient"]] += 1

    def note(self, recipient, outcome, server, message_id=None):
        session = server.session
        self.tries[recipient] += 1
        line = {
            "recipient": recipient,
            "message_id": message_id,
            "outcome": outcome,
            "tls": server.transport.get_extra_info("ssl_object") is not None,
            "login": session.auth_data.login.decode() if isinstance(session.auth_data, LoginPassword) else None,
        }
        with self.attempts.open("a", encoding="utf-8") as log:
            log.write(json.dumps(line) + "\n")

    def keep(self, recipients, content):
        number = 1 + len(list(self.messages.glob("*.eml")))
        unfinished = self.messages / f"{number:06}.part"
        envelope = "".join(f"X-Envelope-To: {recipient}\r\n" for recipient in recipients)
        unfinished.write_bytes(envelope.encode() + content)
        unfinished.rename(self.messages / f"{number:06}.eml")

    async def handle_RCPT(self, server, session, envelope, address, rcpt_options):
        way, patience = behaviour(address)
        if way == "defer" and self.tries[address] < patience:
            self.note(address, "deferred", server)
            return "451 4.7.1 not yet, try again later"
        if way == "reject":
            self.note(address, "rejected", server)
            return "550 5.1.1 no such mailbox here"
        if way == "hang":
            self.note(address, "hung", server)
            await silence()
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 ok"

    async def handle_DATA(self, server, session, envelope):
        recipients = list(envelope.rcpt_tos)
        message_id = email.message_from_bytes(envelope.content)["Message-ID"]
        ways = [behaviour(recipient) for recipient in recipients]
        first_tries = [self.tries[recipient] < patience for recipient, (_, patience) in zip(recipients, ways)]
        asked = {way for (way, _), first in zip(ways, first_tries) if first or way == "refuse-data"}

        def note_all(outcome):
            for recipient in recipients:
                self.note(recipient, outcome, server, message_id)

        if "refuse-data" in asked:
            note_all("refused")
            return "554 5.6.0 message refused"
        if "defer-data" in asked:
            note_all("deferred")
            return "451 4.3.0 not yet, try again later"
        if "drop" in asked:
            note_all("dropped")
            server.transport.abort()
            await silence()
        self.keep(recipients, envelope.content)
        if "lose-answer" in asked:
            note_all("answer lost")
            server.transport.abort()
            await silence()
        note_all("accepted")
        return "250 2.0.0 kept"


def make_certificates(folder):
    """A certificate authority of its own (ca.pem) and a certificate by it for localhost and 127.0.0.1."""

    def openssl(*arguments):
        subprocess.run(["openssl", *arguments], cwd=folder, check=True, capture_output=True, text=True)

    if not (folder / "server.pem").exists():
        key = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
        openssl("req", "-x509", *key, "-keyout", "ca.key", "-out", "ca.pem", "-days", "2", "-subj", "/CN=Test authority",
                "-addext", "keyUsage=critical,keyCertSign")
        openssl("req", *key, "-keyout", "server.key", "-out", "server.csr", "-subj", "/CN=localhost")
        (folder / "server.ext").write_text(
            "basicConstraints=critical,CA:FALSE\nextendedKeyUsage=serverAuth\nsubjectAltName=DNS:localhost,IP:127.0.0.1\n")
        openssl("x509", "-req", "-in", "server.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial",
                "-out", "server.pem", "-days", "2", "-extfile", "server.ext")
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(folder / "server.pem", folder / "server.key")
    return context


async def serve(options):
    folder = options.folder.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    desk = Desk(folder)
    context = None if options.tls == "none" else make_certificates(folder)
    login = (os.environ.get("SMTP_USERNAME"), os.environ.get("SMTP_PASSWORD"))

    def check_login(server, session, envelope, mechanism, data):
        given = (data.login.decode(), data.password.decode()) if isinstance(data, LoginPassword) else None
        return AuthResult(success=given == login, handled=given == login, auth_data=data)

    def new_connection():
        return SMTP(
            desk,
            hostname="mail.test",
            enable_SMTPUTF8=True,
            tls_context=context if options.tls == "starttls" else None,
            require_starttls=options.tls == "starttls",
            authenticator=check_login if login[0] else None,
            auth_required=bool(login[0]),
            # aiosmtpd does not see that an implicit-TLS socket is already encrypted, so this asks only for STARTTLS.
            auth_require_tls=options.tls == "starttls",
        )

    loop = asyncio.get_running_loop()
    server = await loop.create_server(
        new_connection, "127.0.0.1", options.port, ssl=context if options.tls == "implicit" else None)
    stopped = asyncio.Event()
    for signal_number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(signal_number, stopped.set)
    # Nothing is ever written to standard input: when it can be read, whoever started the server is gone.
    loop.add_reader(sys.stdin, stopped.set)
    print("listening", server.sockets[0].getsockname()[1], flush=True)
    await stopped.wait()
    server.close()


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--folder", type=Path, required=True, help="where messages, attempts and certificates are kept")
    parser.add_argument("--port", type=int, default=0, help="0 takes a free one")
    parser.add_argument("--tls", choices=("none", "starttls", "implicit"), default="none")
    asyncio.run(serve(parser.parse_args()))


if __name__ == "__main__":
    main()
