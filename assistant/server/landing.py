"""The plain page on which a phone learns to trust this machine's certificates, and nothing else.

It is served without encryption, since the phone can't check any yet. So it holds no job, no code
and no way to the app's data: only the authority's certificate, which is public, and how to take it.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from html import escape

from flask import Flask, Response, request

from assistant.server.certificates import Authority

NAME = "thirdhand-authority"
PHONES = {"ios": "iPhone or iPad", "android": "Android", "other": "another device"}

_STEPS = {
    "ios": (
        "Open this page in the browser that came with the phone.",
        "Press <b>Get the certificate</b> and allow the download.",
        "Open the phone's <i>Settings</i>, then <i>Profile Downloaded</i>. Under <i>More "
        "Details</i> compare the fingerprint (below), then install it.",
        "Go to <i>Settings, General, About, Certificate Trust Settings</i> and switch it on.",
    ),
    "android": (
        "Press <b>Get the certificate</b> and keep the file.",
        "Open the phone's <i>Settings</i> and search them for <i>CA certificate</i> (mostly under "
        "<i>Security, Encryption and credentials, Install a certificate</i>).",
        "Choose <i>CA certificate</i>, then the file. The phone warns you: this machine could pass "
        "for local addresses, and by its own limits for no site of the internet.",
        "Under <i>Trusted credentials, User</i> touch the new one and compare the fingerprint "
        "(below).",
    ),
    "other": (
        "Press <b>Get the certificate</b> and keep the file.",
        "In the settings of the system or the browser, import it as an authority that identifies "
        "websites.",
        "Let the settings show its SHA-256 fingerprint and compare it (below).",
    ),
}

_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Trust this Thirdhand</title><link rel="stylesheet" href="/landing.css">
<script src="/landing.js" defer></script></head>
<body data-now="{now}"><main>
<h1>Let this phone trust Thirdhand</h1>
<p>A phone gives its microphone to a secure page only. Do this once on each phone ({phone}).</p>
<p id="clock" hidden role="alert"></p>
<ol>{steps}</ol>
<p><a class="key" href="/{name}.crt"{save}>Get the certificate</a></p>
<h2>Compare the fingerprint</h2>
<p>What the <b>phone's settings</b> show must be what the <b>terminal</b> shows at the machine.
If one sign differs, remove the certificate again and ask who runs this network.</p>
<p class="print">{fingerprint}</p>
<h2>Then join</h2>
<p>Scan the second code on the terminal. Or open
<a href="{secure}">{secure}</a> and type the code that stands there.</p>
<p class="other">Not {phone}? {others}</p>
</main></body></html>
"""

_STYLE = """
:root { color-scheme: light dark }
body { font: 1.25rem/1.5 system-ui, sans-serif; margin: 0; color: #111; background: #fff }
main { max-width: 40rem; margin: 0 auto; padding: 1rem }
h1 { font-size: 1.75rem } h2 { font-size: 1.4rem } li { margin: .6rem 0 }
a { color: #003a70 }
.key { display: block; padding: 1.2rem; text-align: center; font-weight: 700;
  border: 3px solid #111; border-radius: .5rem; color: #fff; background: #003a70;
  text-decoration: none }
.print { font-family: monospace; overflow-wrap: anywhere; border: 2px solid; padding: .8rem }
.other a { display: inline-block; padding: 1.2rem .6rem }
#clock { border: 4px solid #000; background: #ffd100; color: #000; padding: 1rem }
@media (prefers-color-scheme: dark) {
  body { color: #fff; background: #0a0a0a } a { color: #9fd0ff }
  .key { background: #9fd0ff; color: #000; border-color: #fff } }
"""

# A phone whose date is wrong takes the certificate for over, or not yet valid, and doesn't say why.
_SCRIPT = """
const off_s = Date.now() / 1000 - Number(document.body.dataset.now);
if (Math.abs(off_s) > 12 * 3600) {
  const told = document.getElementById("clock");
  const days = Math.round(Math.abs(off_s) / 8640) / 10;
  told.textContent = `The clocks of this phone and of the machine differ by ${days} days. ` +
    "Set the wrong one, or the phone will not trust the certificate.";
  told.hidden = false;
}
"""


def phone_of(agent: str) -> str:
    """ "ios", "android" or "other", by what a browser says of itself."""
    if re.search(r"iPhone|iPad|iPod", agent):
        return "ios"
    return "android" if "Android" in agent else "other"


def grouped(fingerprint: str) -> str:
    """A fingerprint in four lines of eight pairs, for the eye to follow."""
    pairs = fingerprint.split(":")
    return "\n".join(":".join(pairs[at : at + 8]) for at in range(0, len(pairs), 8))


def create_landing(issuer: Authority, port: int, wall: Callable[[], float] = time.time) -> Flask:
    """The landing page's app; the secure page is at this port of the same address."""
    app = Flask("assistant.server.landing", static_folder=None)

    @app.get("/")
    def page() -> Response:
        asked = request.args.get("for", "")
        phone = asked if asked in PHONES else phone_of(request.headers.get("User-Agent", ""))
        host = re.sub(r"[^A-Za-z0-9.-]", "", request.host.partition(":")[0])
        lines = grouped(issuer.fingerprint).splitlines()
        return Response(
            _PAGE.format(
                now=int(wall()),
                phone=PHONES[phone],
                steps="".join(f"<li>{step}</li>" for step in _STEPS[phone]),
                name=NAME,
                # There, a file that is kept is never offered for installing.
                save="" if phone == "ios" else f' download="{NAME}.crt"',
                fingerprint="<br>".join(map(escape, lines)),
                secure=f"https://{host}:{port}/",
                others=" ".join(
                    f'<a href="/?for={key}">{name}</a>'
                    for key, name in PHONES.items()
                    if key != phone
                ),
            ),
            mimetype="text/html",
        )

    @app.get("/landing.css")
    def style() -> Response:
        return Response(_STYLE, mimetype="text/css")

    @app.get("/landing.js")
    def script() -> Response:
        return Response(_SCRIPT, mimetype="text/javascript")

    @app.get(f"/{NAME}.crt")
    def certificate() -> Response:
        # The type by which phones know that they are to install it (DER, RFC 2585 names another).
        return Response(issuer.der, mimetype="application/x-x509-ca-cert")

    @app.get(f"/{NAME}.pem")
    def text() -> Response:
        return Response(issuer.pem, mimetype="application/x-pem-file")

    @app.after_request
    def protect(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = (
            "default-src 'none'; style-src 'self'; script-src 'self'; base-uri 'none'; "
            "form-action 'none'; frame-ancestors 'none'"
        )
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["Cache-Control"] = "no-store"
        return response

    return app
