"""The server in the local network: certificate, landing page, codes, and what goes wrong."""

from __future__ import annotations

import datetime as dt
import http.client
import json
import re
import shutil
import signal
import socket
import ssl
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

import pytest
from cryptography import x509

from assistant.errors import ThirdhandError
from assistant.job import Jobs
from assistant.server.addresses import Names, local_names
from assistant.server.certificates import LEAF_DAYS, ClockWrong, Leaf, authority
from assistant.server.lan import Lan
from assistant.server.landing import phone_of

NAMES = Names(("toolbox.local", "toolbox"), ("192.168.7.20", "10.1.2.3"))
HERE = Names(("toolbox.local",), ("127.0.0.1",))
NOON = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)
DAY = dt.timedelta(days=1)


def verified(folder: Path, name: str, *more: str) -> subprocess.CompletedProcess[str]:
    """What OpenSSL says of the server's certificate for a name, with the authority trusted."""
    openssl = shutil.which("openssl")
    if not openssl:
        pytest.skip("openssl isn't installed")
    text = (folder / "authority.pem").read_text()
    (folder / "trusted.pem").write_text(text.partition("-----BEGIN PRIVATE")[0])
    how = "-verify_ip" if name[0].isdigit() else "-verify_hostname"
    command = [openssl, "verify", "-x509_strict", "-purpose", "sslserver", how, name, *more]
    command += ["-CAfile", str(folder / "trusted.pem"), str(folder / "server.pem")]
    return subprocess.run(command, capture_output=True, text=True)


def leaf(folder: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate((folder / "server.pem").read_bytes())


# --- certificates ------------------------------------------------------------------------------


def test_openssl_accepts_the_certificate_for_each_name_and_address_and_no_other(
    tmp_path: Path,
) -> None:
    Leaf(tmp_path, authority(tmp_path, NAMES)).renew(NAMES)
    for name in (*NAMES.all, "localhost", "127.0.0.1"):
        assert verified(tmp_path, name).returncode == 0, verified(tmp_path, name)
    for name in ("192.168.7.21", "other.local"):
        assert "mismatch" in verified(tmp_path, name).stderr


@pytest.mark.parametrize(
    ("host", "good"),
    [("192.168.200.1", True), ("panel.local", True), ("8.8.8.8", False), ("example.com", False)],
)
def test_what_the_authority_signs_counts_for_private_names_alone(
    host: str, good: bool, tmp_path: Path
) -> None:
    """RFC 5280 4.2.1.10, judged by OpenSSL: a stolen key passes for no site of the internet."""
    found = authority(tmp_path, NAMES)
    thief = Leaf(tmp_path, found)
    (tmp_path / "server.pem").write_bytes(thief._issued({host}))
    assert (verified(tmp_path, host).returncode == 0) is good
    if not good:
        assert "subtree" in verified(tmp_path, host).stderr


def test_the_keys_are_readable_by_their_owner_alone(tmp_path: Path) -> None:
    folder = tmp_path / "lan"
    Leaf(folder, authority(folder, NAMES)).renew(NAMES)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for name in ("authority.pem", "server.pem"):
        assert stat.S_IMODE((folder / name).stat().st_mode) == 0o600


def test_the_authority_is_made_once_and_the_certificate_when_names_or_time_ask_for_it(
    tmp_path: Path,
) -> None:
    at = NOON
    first = authority(tmp_path, NAMES, lambda: at)
    kept = Leaf(tmp_path, first, lambda: at)
    assert kept.renew(NAMES)
    assert not kept.renew(NAMES)
    again = authority(tmp_path, Names((), ("10.9.9.9",)), lambda: at)
    assert again.fingerprint == first.fingerprint
    assert not Leaf(tmp_path, again, lambda: at).renew(NAMES)
    moved = Names(NAMES.hosts, ("192.168.8.4",))
    assert kept.renew(moved)
    assert verified(tmp_path, "192.168.8.4").returncode == 0
    assert leaf(tmp_path).not_valid_after_utc == at + LEAF_DAYS * DAY
    at = NOON + 50 * DAY
    assert not kept.renew(moved)
    at = NOON + 61 * DAY
    assert kept.renew(moved)


def test_a_phone_accepts_the_form_of_the_certificate(tmp_path: Path) -> None:
    """What phones ask of a server's certificate: an alternative name, the purpose of a server, a
    life of 825 days at most (from memory of the phone makers' published rules).
    """
    Leaf(tmp_path, authority(tmp_path, NAMES)).renew(NAMES)
    found = leaf(tmp_path)
    purposes = found.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert x509.oid.ExtendedKeyUsageOID.SERVER_AUTH in purposes
    assert found.not_valid_after_utc - found.not_valid_before_utc < 825 * DAY
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert "toolbox.local" in names.get_values_for_type(x509.DNSName)


def test_a_clock_that_cannot_be_right_is_said_so(tmp_path: Path) -> None:
    never_set = dt.datetime(1970, 1, 1, 0, 10, tzinfo=dt.UTC)
    with pytest.raises(ClockWrong, match="1970-01-01, which can't be; set it"):
        authority(tmp_path, NAMES, lambda: never_set)
    assert not (tmp_path / "authority.pem").exists()
    authority(tmp_path, NAMES, lambda: NOON)
    with pytest.raises(ClockWrong, match="was made at 2026-11-25 12:00 UTC; set the clock"):
        authority(tmp_path, NAMES, lambda: NOON - 30 * DAY)
    with pytest.raises(ThirdhandError, match="if the clock is right, remove the file"):
        authority(tmp_path, NAMES, lambda: NOON + 4000 * DAY)


def test_a_garbled_authority_is_said_so_and_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "authority.pem").write_text("garbled")
    with pytest.raises(ThirdhandError, match=r"authority.pem: is no certificate with its key"):
        authority(tmp_path, NAMES)
    assert (tmp_path / "authority.pem").read_text() == "garbled"


def test_this_machines_own_names_can_be_looked_up() -> None:
    found = local_names()
    assert all(not address.startswith("127.") for address in found.addresses)
    assert len(set(found.all)) == len(found.all)


# --- the server --------------------------------------------------------------------------------


@pytest.fixture
def said() -> list[str]:
    return []


@pytest.fixture
def lan(jobs: Jobs, job_id: str, tmp_path: Path, said: list[str]) -> Iterator[Lan]:
    with Lan(jobs, job_id, tmp_path / "lan", say=said.append, names=lambda: HERE) as served:
        yield served


def fetch(lan: Lan, path: str, **headers: str) -> tuple[int, Any]:
    """Status and answer of a request over https, with nothing but the authority trusted."""
    trust = ssl.create_default_context(cadata=lan.authority.pem.decode())
    there = http.client.HTTPSConnection("127.0.0.1", lan.port, context=trust, timeout=10)
    body = headers.pop("body", None)
    if body:
        headers["Content-Type"] = "application/json"
    there.request("POST" if body else "GET", path, body, headers)
    answer = there.getresponse()
    found = answer.status, answer.read()
    there.close()
    return found


def test_a_phone_that_trusts_the_authority_joins_with_the_code_once(
    lan: Lan, said: list[str]
) -> None:
    assert fetch(lan, "/")[0] == 200
    assert fetch(lan, "/api/jobs")[0] == 403
    code = lan.pairing.codes["lead"]
    assert code in lan.join_url()
    key = "0123456789abcdef" * 2
    body = json.dumps({"code": code, "key": key})
    status, answer = fetch(lan, "/api/join", body=body)
    assert status == 200
    assert json.loads(answer) == {"role": "lead"}
    assert fetch(lan, "/api/jobs", **{"X-Device-Key": key})[0] == 200
    assert fetch(lan, "/api/join", body=body)[0] == 403
    assert "joined as lead" in said[0]
    assert code not in "".join(said)
    assert lan.join_url() in lan.join_url("lead")


def test_nothing_of_the_app_goes_over_plain_http(lan: Lan) -> None:
    def plain(port: int, path: str) -> int:
        there = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
        there.request("GET", path)
        answer = there.getresponse()
        answer.read()
        there.close()
        return answer.status

    for path in ("/api/health", "/api/jobs", "/api/socket", "/app.js", "/index.html", "/sw.js"):
        assert plain(lan.landing_port, path) == 404
    with pytest.raises((http.client.HTTPException, OSError)):
        plain(lan.port, "/")
    assert lan.pairing.codes["lead"] not in lan.landing_url


@pytest.mark.parametrize(
    ("agent", "phone", "words"),
    [
        ("Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X)", "ios", "Trust Settings"),
        ("Mozilla/5.0 (iPad; CPU OS 17_0 like Mac OS X)", "ios", "Profile Downloaded"),
        ("Mozilla/5.0 (Linux; Android 14; K)", "android", "Trusted credentials"),
        ("Mozilla/5.0 (X11; Linux x86_64)", "other", "identifies"),
    ],
)
def test_the_landing_page_tells_each_kind_of_phone_its_own_way(
    agent: str, phone: str, words: str, lan: Lan
) -> None:
    assert phone_of(agent) == phone
    url = f"http://127.0.0.1:{lan.landing_port}"
    with urlopen(Request(url, headers={"User-Agent": agent})) as answer:
        page = answer.read().decode()
    assert words in page
    assert re.sub(r"[^0-9A-F:]", "", page.partition('print">')[2].replace("<br>", ":"))[
        : len(lan.authority.fingerprint)
    ] == (lan.authority.fingerprint)
    assert f"https://127.0.0.1:{lan.port}/" in page
    assert not any(code in page for code in lan.pairing.codes.values())


def test_the_certificate_comes_in_the_types_that_phones_install(lan: Lan) -> None:
    url = f"http://127.0.0.1:{lan.landing_port}/thirdhand-authority"
    with urlopen(f"{url}.crt") as answer:
        assert answer.headers["Content-Type"] == "application/x-x509-ca-cert"
        der = answer.read()
    with urlopen(f"{url}.pem") as answer:
        pem = answer.read()
    for found in (x509.load_der_x509_certificate(der), x509.load_pem_x509_certificate(pem)):
        assert found == lan.authority.certificate
    assert b"PRIVATE" not in der + pem


def test_what_the_terminal_shows_is_what_a_phone_scans(lan: Lan) -> None:
    shown = lan.invitation()
    for line in (lan.landing_url, lan.url, "More, People"):
        assert line in shown
    assert lan.authority.fingerprint[:23] in shown
    assert "▄" in shown
    assert max(map(len, shown.splitlines())) <= 100


def test_a_changed_address_gets_its_certificate_without_a_restart(
    lan: Lan, said: list[str]
) -> None:
    lan.follow(Names(("toolbox.local",), ("127.0.0.1", "10.20.30.40")))
    trust = ssl.create_default_context(cadata=lan.authority.pem.decode())
    with (
        socket.create_connection(("127.0.0.1", lan.port)) as raw,
        trust.wrap_socket(raw, server_hostname="10.20.30.40") as secure,
    ):
        names = secure.getpeercert()["subjectAltName"]  # type: ignore[index]
    assert ("IP Address", "10.20.30.40") in names
    assert "made anew" in said[0]
    assert fetch(lan, "/api/health", Host=f"10.20.30.40:{lan.port}")[0] == 200
    assert fetch(lan, "/api/health", Host=f"10.20.30.41:{lan.port}")[0] == 421


def test_no_network_and_a_taken_port_are_said_in_plain_words(
    jobs: Jobs, job_id: str, tmp_path: Path, lan: Lan
) -> None:
    with pytest.raises(ThirdhandError, match="no address in a local network; join the site's"):
        Lan(jobs, job_id, tmp_path / "lan", names=lambda: Names(("toolbox",), ()))
    with pytest.raises(ThirdhandError, match=f"port {lan.port} is taken by another program"):
        Lan(jobs, job_id, tmp_path / "lan", port=lan.port, names=lambda: HERE)
    with pytest.raises(ThirdhandError, match="is taken"):
        Lan(jobs, job_id, tmp_path / "lan", landing_port=lan.port, names=lambda: HERE)
    elsewhere = Names((), ("11.1.1.1",))
    with pytest.raises(ThirdhandError, match=r"may not vouch for 11\.1\.1\.1"):
        Lan(jobs, job_id, tmp_path / "lan", names=lambda: elsewhere)


def test_the_command_shows_the_codes_and_serves_until_it_is_interrupted(tmp_path: Path) -> None:
    if not local_names().addresses:
        pytest.skip("this machine has no address in a local network")
    command = [sys.executable, "-m", "assistant.cli", "serve", "--lan", "--port", "0"]
    command += ["--job", "pinewharf-d2", "--data", str(tmp_path), "--engine", "none", "--no-voice"]
    shown = []
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as running:
        assert running.stdout
        for line in running.stdout:
            shown.append(line)
            if "Ctrl-C" in line:
                break
        text = "".join(shown)
        landing = re.search(r"http://[\d.]+:\d+/", text)
        secure = re.search(r"https://[\d.]+:\d+/ +code [A-Z2-9]{5}-[A-Z2-9]{5}", text)
        running.send_signal(signal.SIGINT)
        running.wait(timeout=20)
    assert landing
    assert secure
    assert "Thirdhand makes nothing safe" in text
    assert text.count(":") > 32  # the fingerprint
    assert (tmp_path / "lan" / "authority.pem").exists()


def test_a_network_that_goes_and_comes_back_is_told_once_each(
    jobs: Jobs, job_id: str, tmp_path: Path, said: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("assistant.server.lan.LOOK_EVERY_S", 0.02)
    found = [HERE]

    def told(words: str) -> None:
        deadline = time.monotonic() + 10
        while not any(words in each for each in said):
            assert time.monotonic() < deadline, said
            time.sleep(0.02)

    with Lan(jobs, job_id, tmp_path / "lan", say=said.append, names=lambda: found[0]) as lan:
        time.sleep(0.2)
        assert said == []
        found[0] = Names(HERE.hosts, ())
        told("The network is gone")
        found[0] = Names(HERE.hosts, ("10.20.30.40",))
        told("made anew")
        told("10.20.30.40")
        time.sleep(0.2)
        assert len(said) == 3
        assert lan.url == f"https://10.20.30.40:{lan.port}/"
