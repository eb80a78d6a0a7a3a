"""A certificate authority of this machine's own, and the certificate for its names and addresses.

A phone gives its microphone to a secure page only, and on a site there is no public name to have
one certified for. So this machine makes an authority once, which each phone is told to trust, and
which may vouch for private addresses and local names alone (name constraints, RFC 5280 4.2.1.10):
whoever stole its key could not pass for any site of the internet. The certificate itself lives
shortly and is made anew when the machine's addresses change.
"""

from __future__ import annotations

import datetime as dt
import ipaddress
import os
import ssl
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from assistant.errors import ThirdhandError
from assistant.server.addresses import Names

AUTHORITY_YEARS = 10
LEAF_DAYS = 90  # phones refuse more than 825 days, even of an authority that a person added
RENEW_DAYS = 30
LEEWAY = dt.timedelta(days=1)  # for a phone whose clock is slow
EARLIEST = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)  # a clock before it was never set
NETWORKS = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "100.64.0.0/10",
            "127.0.0.0/8")  # fmt: skip
ALWAYS = Names(("localhost",), ("127.0.0.1",))


class ClockWrong(ThirdhandError):
    """This machine's clock can't be right, so no phone would believe its certificate."""


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC).replace(microsecond=0)


@dataclass(frozen=True)
class Authority:
    """The authority: its certificate, and the key with which it signs."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate as phones show it: "3F:A2:..."."""
        return self.certificate.fingerprint(hashes.SHA256()).hex(":").upper()

    @property
    def der(self) -> bytes:
        """The certificate for a phone to install."""
        return self.certificate.public_bytes(serialization.Encoding.DER)

    @property
    def pem(self) -> bytes:
        """The same as text."""
        return self.certificate.public_bytes(serialization.Encoding.PEM)

    def vouched(self, names: Names) -> Names:
        """Those of the names and addresses that it may vouch for."""
        constraints = self.certificate.extensions.get_extension_for_class(x509.NameConstraints)
        trees = constraints.value.permitted_subtrees or []
        roots = [tree.value for tree in trees if isinstance(tree, x509.DNSName)]
        nets = [
            each
            for tree in trees
            if isinstance(tree, x509.IPAddress)
            and isinstance(each := tree.value, ipaddress.IPv4Network)
        ]
        return Names(
            tuple(h for h in names.hosts if any(h == r or h.endswith(f".{r}") for r in roots)),
            tuple(
                a for a in names.addresses if any(ipaddress.ip_address(a) in net for net in nets)
            ),
        )


def authority(folder: Path, names: Names, now: Callable[[], dt.datetime] = _now) -> Authority:
    """The authority kept in a folder, made there if there is none.

    Parameters
    ----------
    folder : Path
        Holds `authority.pem`, certificate and key, readable by its owner alone.
    names : Names
        What this machine is called when the authority is made. It may vouch for these, for names
        that end in ".local" and for addresses of private networks (RFC 1918, RFC 3927, RFC 6598).

    Raises
    ------
    ClockWrong
        If this machine's clock is before the authority's time, or before any time that can be.
    ThirdhandError
        If the file can't be written or read, or the authority's time is over.
    """
    file = folder / "authority.pem"
    at = now()
    if at < EARLIEST:
        raise ClockWrong(
            f"this machine's clock says {at:%Y-%m-%d}, which can't be; set it, or phones will not "
            "believe the certificate"
        )
    try:
        if not file.exists():
            _write_private(file, _made(names, at))
        file.chmod(0o600)
        text = file.read_bytes()
        found = Authority(x509.load_pem_x509_certificate(text), _key(text))
    except OSError as error:
        raise ThirdhandError(
            f"{file}: can't be kept ({error.strerror}); choose a folder of your own with --data"
        ) from error
    except ValueError as error:
        raise ThirdhandError(
            f"{file}: is no certificate with its key; remove it to have a new one made, which "
            "every phone has to be told to trust again"
        ) from error
    begun, over = found.certificate.not_valid_before_utc, found.certificate.not_valid_after_utc
    if at < begun:
        raise ClockWrong(
            f"this machine's clock says {at:%Y-%m-%d %H:%M} UTC, but its certificate authority was "
            f"made at {begun + LEEWAY:%Y-%m-%d %H:%M} UTC; set the clock"
        )
    if at > over - dt.timedelta(days=LEAF_DAYS):
        raise ThirdhandError(
            f"{file}: the authority is valid until {over:%Y-%m-%d} only (the clock says "
            f"{at:%Y-%m-%d}); if the clock is right, remove the file to have a new one made"
        )
    return found


def _key(text: bytes) -> ec.EllipticCurvePrivateKey:
    key = serialization.load_pem_private_key(text, password=None)
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise ValueError("another kind of key")
    return key


def _write_private(file: Path, data: bytes) -> None:
    """Whole or not at all, and never readable by others, not even for a moment."""
    file.parent.mkdir(parents=True, exist_ok=True)
    file.parent.chmod(0o700)
    handle, name = tempfile.mkstemp(dir=file.parent)  # made with mode 0600
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        Path(name).replace(file)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _pem(certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey) -> bytes:
    return certificate.public_bytes(serialization.Encoding.PEM) + key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )


def _usage(**allowed: bool) -> x509.KeyUsage:
    names = ("digital_signature", "content_commitment", "key_encipherment", "data_encipherment",
             "key_agreement", "key_cert_sign", "crl_sign", "encipher_only",
             "decipher_only")  # fmt: skip
    return x509.KeyUsage(**{name: allowed.get(name, False) for name in names})


def _begun(
    subject: str, issuer: x509.Name | None, key: ec.EllipticCurvePrivateKey, at: dt.datetime
) -> x509.CertificateBuilder:
    name = x509.Name([
        x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Thirdhand"),
        x509.NameAttribute(NameOID.COMMON_NAME, subject[:64]),
    ])  # fmt: skip
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(issuer or name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(at - LEEWAY)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _made(names: Names, at: dt.datetime) -> bytes:
    key = ec.generate_private_key(ec.SECP256R1())
    hosts = dict.fromkeys(["localhost", "local", *names.hosts])
    nets = dict.fromkeys([*map(ipaddress.ip_network, (*NETWORKS, *names.addresses))])
    permitted: list[x509.GeneralName] = [x509.DNSName(each) for each in hosts]
    permitted += [x509.IPAddress(each) for each in nets]
    # What isn't listed of a kind is forbidden; of IPv6 nothing is permitted.
    forbidden: list[x509.GeneralName] = [x509.IPAddress(ipaddress.ip_network("::/0"))]
    where = f" on {names.hosts[-1]}" if names.hosts else ""
    certificate = (
        _begun(f"Thirdhand{where}, made {at:%Y-%m-%d}", None, key, at)
        .not_valid_after(at + dt.timedelta(days=365 * AUTHORITY_YEARS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(key_cert_sign=True, crl_sign=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, forbidden), critical=True)
        .sign(key, hashes.SHA256())
    )
    return _pem(certificate, key)


class Leaf:
    """The server's certificate in a folder: always for the names that the machine has now.

    `context` is what the server listens with; it serves a renewed certificate from the next
    connection on.
    """

    def __init__(self, folder: Path, issuer: Authority, now: Callable[[], dt.datetime] = _now):
        self._file, self._issuer, self._now = folder / "server.pem", issuer, now
        self.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.context.minimum_version = ssl.TLSVersion.TLSv1_2
        self._loaded = False

    def renew(self, names: Names) -> bool:
        """Have a certificate for these names; True if it had to be issued anew."""
        wanted = {*self._issuer.vouched(names).all, *ALWAYS.all}
        if self._fits(wanted):
            if not self._loaded:
                self._load()
            return False
        _write_private(self._file, self._issued(wanted))
        self._load()
        return True

    def _load(self) -> None:
        self.context.load_cert_chain(self._file)
        self._loaded = True

    def _fits(self, wanted: set[str]) -> bool:
        try:
            text = self._file.read_bytes()
            kept = x509.load_pem_x509_certificate(text)
            _key(text)
            kept.verify_directly_issued_by(self._issuer.certificate)
        except Exception:  # missing, garbled, or of an earlier authority
            return False
        found = kept.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        names = {*found.get_values_for_type(x509.DNSName)}
        names |= {str(each) for each in found.get_values_for_type(x509.IPAddress)}
        left = kept.not_valid_after_utc - self._now()
        begun = kept.not_valid_before_utc <= self._now()
        return names == wanted and begun and left > dt.timedelta(days=RENEW_DAYS)

    def _issued(self, wanted: set[str]) -> bytes:
        key, issuer = ec.generate_private_key(ec.SECP256R1()), self._issuer
        alternatives = [_general(each) for each in sorted(wanted)]
        identifier = issuer.certificate.extensions.get_extension_for_class(
            x509.SubjectKeyIdentifier
        ).value
        at = self._now()
        certificate = (
            _begun("Thirdhand server", issuer.certificate.subject, key, at)
            .not_valid_after(at + dt.timedelta(days=LEAF_DAYS))
            .add_extension(x509.SubjectAlternativeName(alternatives), critical=False)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(_usage(digital_signature=True), critical=True)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier),
                critical=False,
            )
            .sign(issuer.key, hashes.SHA256())
        )
        return _pem(certificate, key)


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)
