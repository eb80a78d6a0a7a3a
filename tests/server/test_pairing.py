"""A join code works once, guessing it is hopeless, and the key that it gives lasts its time."""

from __future__ import annotations

import secrets
import stat
from pathlib import Path

import pytest

from assistant.server.pairing import KEY_LIFE_S, LENGTH, LETTERS, TRIES, TRIES_OF_ALL, Pairing

KEY = "0123456789abcdef" * 2


class Times:
    """Both clocks of a pairing, set by hand. [s]"""

    mono_s, wall_s = 0.0, 1_800_000_000.0

    def pairing(self, file: Path | None = None) -> Pairing:
        return Pairing(lambda: self.mono_s, wall=lambda: self.wall_s, file=file)


def joined(pairing: Pairing, role: str) -> str:
    key = secrets.token_hex(16)
    assert pairing.redeem(pairing.codes[role], key) == role
    return key


def test_a_code_lets_one_device_in_and_no_second_one() -> None:
    pairing = Pairing()
    code = pairing.codes["lead"]
    assert pairing.redeem(f" {code[:5].lower()}-{code[5:]} ", KEY) == "lead"  # as it is typed
    assert pairing.redeem(code, KEY[::-1]) is None
    second = joined(pairing, "lead")
    assert pairing.admits(KEY, "lead")
    assert pairing.admits(second, "lead")
    assert not pairing.admits(KEY[::-1])


def test_a_key_that_could_be_guessed_is_not_let_in() -> None:
    pairing = Pairing()
    assert pairing.redeem(pairing.codes["lead"], KEY[:31]) is None
    assert pairing.redeem(pairing.codes["lead"], KEY) == "lead"


def test_one_phone_may_join_in_both_roles_and_only_in_those_it_joined_in() -> None:
    pairing = Pairing()
    assert pairing.redeem(pairing.codes["helper"], KEY) == "helper"
    assert not pairing.admits(KEY, "lead")
    assert pairing.redeem(pairing.codes["lead"], KEY) == "lead"
    assert pairing.admits(KEY, "lead")
    assert pairing.admits(KEY, "helper")


def test_a_key_is_good_for_its_own_role_and_a_code_is_no_key() -> None:
    pairing = Pairing()
    helper = joined(pairing, "helper")
    assert pairing.admits(helper)
    assert pairing.admits(helper, "helper")
    assert not pairing.admits(helper, "lead")
    assert not pairing.admits(helper, "customer")
    assert not any(pairing.admits(code) for code in pairing.codes.values())
    assert not pairing.admits("")


def test_guessing_is_shut_out_for_a_minute_where_it_comes_from() -> None:
    times = Times()
    pairing = times.pairing()
    assert not any(pairing.redeem(f"GUESS{n:05d}", KEY, "10.0.0.9") for n in range(TRIES))
    assert pairing.redeem(pairing.codes["lead"], KEY, "10.0.0.9") is None
    assert pairing.redeem(pairing.codes["lead"], KEY, "10.0.0.7")  # another phone isn't shut out
    times.mono_s += 61
    assert pairing.redeem(pairing.codes["lead"], KEY, "10.0.0.9")


def test_guessing_from_many_addresses_is_shut_out_as_well() -> None:
    pairing = Times().pairing()
    for n in range(TRIES_OF_ALL):
        assert pairing.redeem("GUESS", KEY, f"10.0.1.{n}") is None
    assert pairing.redeem(pairing.codes["lead"], KEY, "10.0.0.7") is None


def test_at_the_rate_that_is_let_through_a_code_is_not_guessed_in_a_lifetime() -> None:
    """The expected number of tries is half of all codes; tries are TRIES_OF_ALL a minute."""
    years = len(LETTERS) ** LENGTH / 2 / TRIES_OF_ALL / (60 * 24 * 365)
    assert years > 1_000_000


def test_devices_that_are_in_stay_in_while_somebody_guesses() -> None:
    pairing = Times().pairing()
    key = joined(pairing, "lead")
    for n in range(2 * TRIES_OF_ALL):
        pairing.redeem(f"GUESS{n}", KEY)
        pairing.admits(f"guess {n}")
    assert pairing.admits(key, "lead")


def test_a_server_started_again_knows_its_devices_and_keeps_no_key(tmp_path: Path) -> None:
    times, file = Times(), tmp_path / "devices.json"
    first = times.pairing(file)
    key = joined(first, "helper")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert key not in file.read_text(encoding="utf-8")
    again = times.pairing(file)
    assert again.admits(key, "helper")
    assert again.codes != first.codes
    times.wall_s += KEY_LIFE_S + 1
    assert not again.admits(key, "helper")
    assert not times.pairing(file).admits(key)


@pytest.mark.parametrize("text", ["", "nonsense", "[{}]", "3", '[{"digest": 1}]'])
def test_a_garbled_file_opens_nothing(text: str, tmp_path: Path) -> None:
    file = tmp_path / "devices.json"
    file.write_text(text, encoding="utf-8")
    pairing = Times().pairing(file)
    assert not pairing.admits("")
    assert pairing.admits(joined(pairing, "lead"))
