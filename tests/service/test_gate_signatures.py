"""The answer of a gate is signed with the operator's key; anything but that answer is refused by who verifies it."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import os
import pickle
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from rules.assessor import Assessor
from rules.gate.digest import canonical, judgement_record, report_digest
from rules.schema.gate import GateReport
from service.cli.files import BAD_INPUT
from service.cli.main import main
from service.client import Client as ApiClient
from service.client import KeyDataError, SignatureError, verify_signature
from service.contract import KEYS_PATH, PublicKeySet
from service.http.app import create_app
from service.operations.settings import Settings
from service.operations.signing import NO_KEYS, KeyFileError, load_keys
from service.signature import TYPE, private_key
from tests.service.conftest import Client
from tests.support.client_faces import ADDRESS, KINDS, Face, Kind, of_app
from tests.support.live_service import LiveService, until
from tests.support.orders import decided, order_of
from tests.support.served import NO_TLS
from tests.support.signing import (
    ANOTHER_KEY,
    ORDER,
    PRINTED_KEY,
    PRINTED_PEM,
    PRINTED_THUMBPRINT,
    encoded,
    key_file,
    keys_of,
    set_of,
    signed,
)

SIGNED = signed()
_DIGESTS = ("judgement_sha256", "rulebook_sha256", "catalogue_sha256", "aliases_sha256")

TOLD: dict[str, Any] = SIGNED.model_dump(mode="json")
HEAD, PAYLOAD, SIGNATURE = str(SIGNED.signature).split(".")


def _decoded(part: str) -> bytes:
    return base64.urlsafe_b64decode(part + "=" * (-len(part) % 4))


def test_whoever_has_the_key_can_verify_with_any_tool() -> None:
    """Independent computation: split, decoded and verified without the library that signs; by the key of RFC 8037."""
    assert json.loads(_decoded(HEAD)) == {"alg": "Ed25519", "kid": PRINTED_THUMBPRINT, "typ": TYPE}
    key = Ed25519PublicKey.from_public_bytes(_decoded(PRINTED_KEY["x"]))
    key.verify(_decoded(SIGNATURE), f"{HEAD}.{PAYLOAD}".encode())
    with pytest.raises(InvalidSignature):
        key.verify(_decoded(SIGNATURE), f"{HEAD}.{PAYLOAD}A".encode())
    record = json.loads(_decoded(PAYLOAD))
    assert record == {
        "form": 1,
        **{name: TOLD["provenance"][name] for name in ("service", "version")},
        **{name: TOLD[name] for name in ("order", "revision", "decision", "may_start", "digest")},
        **{name: TOLD[name] for name in ("input_sha256", "context_sha256", "unmet", "policy_deviations")},
        **{name: TOLD["provenance"][f"{name}"] for name in _DIGESTS},
        "profile": TOLD["profile"]["name"],
        "profile_sha256": TOLD["profile"]["sha256"],
        "not_required": [],
        "deviations": TOLD["provenance"]["deviations"],
    }
    assert (record["order"], record["decision"], record["may_start"]) == ("KB-WO-0009", "release", True)


def test_nothing_but_the_signature_is_added() -> None:
    """The answer of a service with a key is otherwise that of one without, which has null there."""
    plain = decided(dict(ORDER))
    assert plain.signature is None
    assert SIGNED.model_copy(update={"signature": None}) == plain
    assert NO_KEYS.signed(plain) is plain


def test_the_same_order_gets_the_same_signature() -> None:
    """Ed25519 is deterministic (RFC 8032), and no time is in the record; another order or key gives another one."""
    assert signed().signature == SIGNED.signature
    assert signed(jwk=ANOTHER_KEY).signature != SIGNED.signature
    assert signed({**ORDER, "revision": "B"}).signature != SIGNED.signature


VARIOUS = {
    "released": ORDER,
    "held": order_of("good", "warning", "undecided"),
    "stopped": order_of("error"),
    "a deviation": {
        **order_of("good"),
        "policy": {"thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 5}]},
    },
    "requirements lifted": order_of("good", required=["machine"]),
    "an expectation not met": {**order_of("good"), "expect": {"digest": "0" * 64, "version": "0.9"}},
    "with sections": {**order_of("good"), "include": ["findings", "runout"]},
}


@pytest.mark.parametrize("name", VARIOUS)
def test_every_answer_is_verified_as_stored(name: str) -> None:
    """After a round through JSON, with fields of a later version beside; by a set as a model and as a dictionary."""
    report = signed(VARIOUS[name])
    stored = GateReport.model_validate_json(json.dumps({**report.model_dump(mode="json"), "later": 1}), extra="ignore")
    keys = set_of(ANOTHER_KEY, PRINTED_KEY)
    for held in (keys, {**keys, "comment": "kept since spring"}, keys_of().public):
        assert verify_signature(stored, held) == PRINTED_THUMBPRINT


def _jws(header: object, payload: bytes, key: dict[str, str] = PRINTED_KEY) -> str:
    """A JWS made by hand, with whatever header."""
    head = header if isinstance(header, bytes) else json.dumps(header).encode()
    text = f"{encoded(head)}.{encoded(payload)}"
    own = Ed25519PrivateKey.from_private_bytes(_decoded(key["d"]))
    return f"{text}.{encoded(own.sign(text.encode()))}"


RECORD = _decoded(PAYLOAD)
HEADER = {"alg": "Ed25519", "kid": PRINTED_THUMBPRINT, "typ": TYPE}
PUBLIC = {name: one for name, one in PRINTED_KEY.items() if name != "d"}


def _keyed_by_the_public_key(secret: bytes) -> str:
    """The confusion of algorithms: an HMAC with what everybody knows (RFC 8725, section 2.1)."""
    text = f"{encoded(json.dumps({**HEADER, 'alg': 'HS256'}).encode())}.{PAYLOAD}"
    return f"{text}.{encoded(hmac.digest(secret, text.encode(), hashlib.sha256))}"


FORGED: dict[str, tuple[Any, str]] = {
    "no signature": (None, "The answer has no signature."),
    "nothing": ("", "not a compact JWS"),
    "one part": (HEAD, "not a compact JWS"),
    "without its payload": (f"{HEAD}..{SIGNATURE}", "not a compact JWS"),
    "without its signature": (f"{HEAD}.{PAYLOAD}.", "not a compact JWS"),
    "four parts": (f"{SIGNED.signature}.A", "not a compact JWS"),
    "general JSON form": (json.dumps({"payload": PAYLOAD, "signatures": []}), "not a compact JWS"),
    "header cut": (f"{HEAD[:-1]}.{PAYLOAD}.{SIGNATURE}", "header of the signature cannot be read"),
    "header not JSON": (_jws(b"Ed25519", RECORD), "header of the signature cannot be read"),
    "header a list": (_jws(["alg"], RECORD), "header of the signature cannot be read"),
    "header a number": (_jws(1, RECORD), "header of the signature cannot be read"),
    "header too deep": (_jws(b"[" * 9000, RECORD), "header of the signature cannot be read"),
    "header beyond ASCII": (f"é{SIGNED.signature}", "header of the signature cannot be read"),
    "header with a key twice": (
        _jws(b'{"alg":"Ed25519","alg":"Ed25519"}', RECORD),
        "header of the signature cannot be read",
    ),
    "alg none": (_jws({**HEADER, "alg": "none"}, RECORD), 'algorithm of the signature is "none"'),
    "alg None": (_jws({**HEADER, "alg": "None"}, RECORD), 'algorithm of the signature is "None"'),
    "alg none, unsigned": (f"{encoded(json.dumps({'alg': 'none'}).encode())}.{PAYLOAD}.AA", 'is "none"; only Ed25519'),
    "alg missing": (_jws({"kid": PRINTED_THUMBPRINT, "typ": TYPE}, RECORD), "algorithm of the signature is null"),
    "alg a list": (_jws({**HEADER, "alg": ["Ed25519"]}, RECORD), "algorithm of the signature is ["),
    "alg of the older name": (_jws({**HEADER, "alg": "EdDSA"}, RECORD), 'is "EdDSA"; only Ed25519'),
    "alg of another curve": (_jws({**HEADER, "alg": "ES256"}, RECORD), 'is "ES256"; only Ed25519'),
    "HMAC with the public key": (_keyed_by_the_public_key(_decoded(PUBLIC["x"])), 'is "HS256"; only Ed25519'),
    "HMAC with the public JWK": (_keyed_by_the_public_key(json.dumps(PUBLIC).encode()), 'is "HS256"; only Ed25519'),
    "foreign key": (signed(jwk=ANOTHER_KEY).signature, "key that is not in the set"),
    "foreign key under our id": (_jws(HEADER, RECORD, ANOTHER_KEY), "does not match what was signed"),
    "foreign key brought along": (
        _jws({**HEADER, "jwk": set_of(ANOTHER_KEY)["keys"][0]}, RECORD, ANOTHER_KEY),
        "not that of a gate's record",
    ),
    "address of keys": (_jws({**HEADER, "jku": "https://keys.invalid/"}, RECORD), "not that of a gate's record"),
    "critical extension": (_jws({**HEADER, "crit": ["b64"], "b64": False}, RECORD), "not that of a gate's record"),
    "no id": (_jws({"alg": "Ed25519", "typ": TYPE}, RECORD), "not that of a gate's record"),
    "id a list": (_jws({**HEADER, "kid": [PRINTED_THUMBPRINT]}, RECORD), "not that of a gate's record"),
    "signed for another use": (_jws({**HEADER, "typ": "JWT"}, RECORD), "not that of a gate's record"),
    "padded": (f"{SIGNED.signature}==", "does not match what was signed"),
    "a line break": (f"{SIGNED.signature}\n", "does not match what was signed"),
    "beyond ASCII": (f"{SIGNED.signature}é", "does not match what was signed"),
    "not base64url": (f"{HEAD}.{PAYLOAD}.{SIGNATURE[:-2]}+/", "does not match what was signed"),
    "too long": (f"{HEAD}.{PAYLOAD}.{encoded(_decoded(SIGNATURE) + b'x')}", "does not match what was signed"),
    "signature of another answer": (signed(order_of("good")).signature, "differs from what was signed: "),
    "payload of another answer": (
        f"{HEAD}.{str(signed(order_of('good')).signature).split('.')[1]}.{SIGNATURE}",
        "does not match what was signed",
    ),
    "another form": (_jws(HEADER, canonical({**json.loads(RECORD), "form": 2})), "has another form"),
    "no record": (_jws(HEADER, b"no record"), "has another form"),
    "a list": (_jws(HEADER, b"[1]"), "has another form"),
    "spelt otherwise": (_jws(HEADER, RECORD.replace(b"true", b"1")), "differs from what was signed: spelling"),
    "one field more": (_jws(HEADER, canonical({**json.loads(RECORD), "more": 1})), "what was signed: more"),
}


@pytest.mark.parametrize("name", FORGED)
def test_another_signature_is_refused(name: str) -> None:
    """Each with its reason; the set has the key that signed the answer, and only that."""
    signature, reason = FORGED[name]
    report = SIGNED.model_copy(update={"signature": signature})
    with pytest.raises(SignatureError) as caught:
        verify_signature(report, set_of())
    assert reason in str(caught.value)


def test_a_signature_changed_anywhere_or_cut_is_refused() -> None:
    """Each character in turn replaced by its neighbour, and each beginning of the text: none passes."""
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    text = str(SIGNED.signature)
    nearest = dict(zip(letters, letters[1:] + letters[:1], strict=True))
    changed = [text[:at] + nearest.get(one, "A") + text[at + 1 :] for at, one in enumerate(text)]
    for forged in (*changed, *(text[:length] for length in range(len(text)))):
        with pytest.raises(SignatureError):
            verify_signature(SIGNED.model_copy(update={"signature": forged}), set_of())


def _at(told: dict[str, Any], *steps: str | int) -> Any:
    for step in steps:
        told = told[step]  # type: ignore[index]
    return told


def _digested_again(told: dict[str, Any]) -> None:
    told["operations"][0].update(decision="hold")
    told["digest"] = report_digest(GateReport.model_validate(told))


CHANGED: dict[str, tuple[Callable[[dict[str, Any]], object], str]] = {
    "may start": (lambda told: told.update(may_start=False), "what was signed: may_start"),
    "decision": (lambda told: told.update(decision="stop"), "what was signed: decision"),
    "order": (lambda told: told.update(order="KB-WO-2"), "what was signed: order"),
    "revision": (lambda told: told.update(revision="B"), "what was signed: revision"),
    "no revision": (lambda told: told.update(revision=None), "what was signed: revision"),
    "order's digest": (lambda told: told.update(input_sha256="0" * 64), "what was signed: input_sha256"),
    "digest": (lambda told: told.update(digest="0" * 64), "what was signed: digest"),
    "context's digest": (lambda told: told.update(context_sha256="0" * 64), "what was signed: context_sha256"),
    "judgement": (lambda told: _at(told, "provenance").update(judgement_sha256="0" * 64), "judgement_sha256"),
    "rulebooks": (lambda told: _at(told, "provenance").update(rulebook_sha256="0" * 64), "rulebook_sha256"),
    "aliases": (lambda told: _at(told, "provenance").update(aliases_sha256="0" * 64), "aliases_sha256"),
    "catalogue": (lambda told: _at(told, "provenance").update(catalogue_sha256="0" * 64), "catalogue_sha256"),
    "version": (lambda told: _at(told, "provenance").update(version="99.0.0"), "what was signed: version"),
    "service": (lambda told: _at(told, "provenance").update(service="another"), "what was signed: service"),
    "profile": (lambda told: _at(told, "profile").update(sha256="0" * 64), "what was signed: profile_sha256"),
    "profile's name": (lambda told: _at(told, "profile").update(name="lax"), "what was signed: profile"),
    "a deviation hidden": (lambda told: _at(told, "provenance", "deviations").clear(), "what was signed: deviations"),
    "a departure hidden": (lambda told: told["policy_deviations"].clear(), "what was signed: policy_deviations"),
    "an expectation hidden": (lambda told: told["unmet"].clear(), "what was signed: unmet"),
    "a requirement hidden": (lambda told: told["not_required"].clear(), "what was signed: not_required"),
    "an operation's decision": (lambda told: told["operations"][0].update(decision="hold"), "are not those of its"),
    "and digested again": (_digested_again, "what was signed: digest"),
    "an operation's id": (lambda told: told["operations"][0].update(id="99"), "are not those of its operations"),
    "an operation less": (lambda told: told["operations"].pop(), "are not those of its operations"),
    "a reason's code": (
        lambda told: told["operations"][1]["advice"][0].update(code="OVH-010"),
        "are not those of its operations",
    ),
    "context": (lambda told: told["context"].update(job="J-89"), "are not those of its operations and context"),
    "evaluation": (lambda told: told.update(evaluation=2), "evaluation contradicts"),
}


@pytest.mark.parametrize("name", CHANGED)
def test_a_changed_answer_is_refused(name: str) -> None:
    """One change each to an answer that has something in every part of its record."""
    told = signed(
        {
            **order_of("good", "advice", revision="A", context={"job": "J-88"}, required=["machine"]),
            "expect": {"version": "0.9"},
            "policy": {"thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 5}]},
        }
    ).model_dump(mode="json")
    if name in ("may start", "decision", "and digested again", "an operation's decision"):
        told = json.loads(json.dumps(TOLD))
    verify_signature(GateReport.model_validate(told), set_of())
    change, reason = CHANGED[name]
    change(told)
    with pytest.raises(SignatureError) as caught:
        verify_signature(GateReport.model_validate(told), set_of())
    assert reason in str(caught.value)


def test_every_field_of_the_record_has_a_change_above() -> None:
    """A new field of the record needs a row in the table."""
    fields = {reason.rpartition(": ")[2] for _, reason in CHANGED.values()}
    assert judgement_record(SIGNED).keys() - {"form"} <= fields


RSA_JWK = {"kty": "RSA", "n": "0vx7agoebGcQSuuPiLJXZptN9nndrQmbXEps2aiAFbWhM78LhWx4cbbf", "e": "AQAB"}


@pytest.mark.parametrize(
    ("keys", "error", "reason"),
    [
        ({"keys": []}, SignatureError, "not in the set"),
        ({"keys": [RSA_JWK, {"kty": "new"}, {}]}, SignatureError, "not in the set"),
        (set_of(ANOTHER_KEY), SignatureError, "not in the set"),
        # the id of a key is its thumbprint, whatever the set calls it
        ({"keys": [{**set_of(ANOTHER_KEY)["keys"][0], "kid": PRINTED_THUMBPRINT}]}, SignatureError, "not in the set"),
        ({"keys": [{**PUBLIC, "crv": "X25519"}]}, SignatureError, "not in the set"),
        ({"keys": [PRINTED_KEY]}, KeyDataError, "private key"),
        ({"keys": [{**PUBLIC, "x": "AAAA"}]}, KeyDataError, "not an Ed25519 key"),
        ({"keys": [{**PUBLIC, "x": 7}]}, KeyDataError, "not an Ed25519 key"),
        ({"keys": [{"kty": "OKP", "crv": "Ed25519"}]}, KeyDataError, "not an Ed25519 key"),
        ({"keys": [{**PUBLIC, "use": "enc"}]}, KeyDataError, "another use"),
        ({"keys": [{**PUBLIC, "alg": "ES256"}]}, KeyDataError, "another use"),
        ({"keys": [{**PUBLIC, "key_ops": ["deriveKey"]}]}, KeyDataError, "another use"),
        ({"keys": [{**PUBLIC, "key_ops": 5}]}, KeyDataError, "another use"),
        ({"keys": {"a": PUBLIC}}, KeyDataError, "not a JWK set"),
        ({"keys": ["a"]}, KeyDataError, "not a JWK set"),
        (PUBLIC, KeyDataError, "not a JWK set"),
        ([PUBLIC], KeyDataError, "not a JWK set"),
    ],
)
def test_what_holds_no_such_key_verifies_nothing(keys: Any, error: type[Exception], reason: str) -> None:
    """A set of other keys, and what is no set of public keys at all."""
    with pytest.raises(error) as caught:
        verify_signature(SIGNED, keys)
    assert reason in str(caught.value)


def test_keys_of_other_kinds_may_stand_beside() -> None:
    """RFC 7517, section 5: a reader ignores the keys that it does not understand."""
    keys = {"keys": [RSA_JWK, {"kty": "new"}, {**PUBLIC, "use": "sig", "alg": "EdDSA", "kid": "spring"}]}
    assert verify_signature(SIGNED, keys) == PRINTED_THUMBPRINT


# files and settings


PEM = PRINTED_PEM.encode()


def _made(*arguments: str) -> bytes:
    return subprocess.run(["openssl", *arguments], capture_output=True, check=True).stdout  # noqa: S607


FAULTY_FILES: dict[str, tuple[Any, str]] = {
    "empty": (b"", "neither a JWK nor one key in PEM"),
    "text": (b"the key is under the mat", "neither a JWK nor one key in PEM"),
    "bytes": (bytes(range(256)), "neither a JWK nor one key in PEM"),
    "not JSON": (json.dumps(PRINTED_KEY).encode()[:-1], "neither a JWK nor one key in PEM"),
    "a list": ([PRINTED_KEY], "neither a JWK nor one key in PEM"),
    "two in PEM": (PEM * 2, "neither a JWK nor one key in PEM"),
    "too long": (PEM + b" " * 70_000, "longer than 65536 bytes"),
    "public alone": (PUBLIC, "a single private key is needed"),
    "two in a set": ({"keys": [PRINTED_KEY, ANOTHER_KEY]}, "a single private key is needed"),
    "none in a set": ({"keys": []}, "a single private key is needed"),
    "RSA": ({**RSA_JWK, "d": "AQAB"}, "not an Ed25519 key"),
    "symmetric": ({"kty": "oct", "k": "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A"}, "not an Ed25519 key"),
    "another curve": ({**PRINTED_KEY, "crv": "Ed448"}, "not an Ed25519 key"),
    "for encryption": ({**PRINTED_KEY, "crv": "X25519"}, "not an Ed25519 key"),
    "cut": ({**PRINTED_KEY, "d": PRINTED_KEY["d"][:20]}, "not an Ed25519 key"),
    "no text": ({**PRINTED_KEY, "d": 7}, "not an Ed25519 key"),
    "two halves": ({**PRINTED_KEY, "x": ANOTHER_KEY["x"]}, "whose x and d do not belong together"),
    "another use": ({**PRINTED_KEY, "use": "enc"}, "another use"),
    "another algorithm": ({**PRINTED_KEY, "alg": "Ed448"}, "another use"),
    "only to verify and wrap": ({**PRINTED_KEY, "key_ops": ["wrapKey"]}, "another use"),
    "PEM cut": (PEM.replace(b"EdVhC", b""), "not an Ed25519 key"),
    "certificate": (PEM.replace(b"PRIVATE KEY", b"CERTIFICATE"), "a PEM of another kind"),
    "SSH": (PEM.replace(b"PRIVATE", b"OPENSSH PRIVATE"), "a PEM of another kind"),
}


@pytest.mark.parametrize("name", FAULTY_FILES)
def test_a_file_without_a_usable_key_is_refused(tmp_path: Path, name: str) -> None:
    """With the setting and the reason, and nothing of the file."""
    content, reason = FAULTY_FILES[name]
    with pytest.raises(KeyFileError) as caught:
        load_keys(Settings(gate_key_file=key_file(tmp_path, content)))
    assert str(caught.value).startswith("STACKGAUGE_GATE_KEY_FILE: ")
    assert reason in str(caught.value)
    _nothing_of_the_key_in(str(caught.value))
    assert caught.value.__cause__ is None


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (("-algorithm", "ED25519"), None),
        (("-algorithm", "ED25519", "-aes256", "-pass", "pass:x"), "store it without a passphrase"),
        (("-algorithm", "X25519"), "not an Ed25519 key"),
        (("-algorithm", "ED448"), "not an Ed25519 key"),
        (("-algorithm", "EC", "-pkeyopt", "ec_paramgen_curve:P-256"), "not an Ed25519 key"),
    ],
    ids=["good", "encrypted", "X25519", "Ed448", "P-256"],
)
def test_a_key_of_another_tool_is_read(tmp_path: Path, arguments: tuple[str, ...], reason: str | None) -> None:
    """The usual tool makes the key that DEVELOPERS.md names, and its public part is served."""
    pem = _made("genpkey", *arguments)
    file = key_file(tmp_path, pem)
    if reason is not None:
        with pytest.raises(KeyFileError, match=reason):
            load_keys(Settings(gate_key_file=file))
        return
    public = subprocess.run(["openssl", "pkey", "-pubout"], input=pem, capture_output=True, check=True).stdout  # noqa: S607
    one = load_keys(Settings(gate_key_file=file)).public
    assert one == load_keys(Settings(gate_public_key_files=(key_file(tmp_path, public, "public"),))).public


def _nothing_of_the_key_in(text: str) -> None:
    for secret in (PRINTED_KEY["d"], ANOTHER_KEY["d"], "EINTuctv5E1hK1bbY8fdp", PRINTED_KEY["d"][:20]):
        assert secret not in text
    assert _decoded(PRINTED_KEY["d"]).hex() not in text


@pytest.mark.parametrize("mode", [0o404, 0o444, 0o644, 0o402, 0o666])
def test_a_key_that_everybody_can_read_is_refused(tmp_path: Path, mode: int) -> None:
    """With the mode found and the ones to choose; a public key may be read by all."""
    file = key_file(tmp_path, mode=mode)
    with pytest.raises(KeyFileError, match=f"everybody on this machine .* {mode:04o}.* 0400 or 0440"):
        load_keys(Settings(gate_key_file=file))
    load_keys(Settings(gate_public_key_files=(key_file(tmp_path, PUBLIC, "public", 0o644),)))


@pytest.mark.parametrize("mode", [0o400, 0o600, 0o440, 0o640])
def test_owner_and_group_may_read_the_key(tmp_path: Path, mode: int) -> None:
    """A secret that is mounted for a group has 0440."""
    assert load_keys(Settings(gate_key_file=key_file(tmp_path, mode=mode))) == keys_of()


@pytest.mark.parametrize(
    ("path", "reason"),
    [
        (Path("no such file"), "cannot be read: No such file"),
        (Path(), "not a file"),
        (Path("/dev/null"), "not a file"),
        (Path(json.dumps(PRINTED_KEY)), "cannot be read: .*; the path of a file"),
        (Path(PEM.decode() * 200), "cannot be read: .*; the path of a file"),
        (Path("a\0b"), "the path has invalid characters"),
    ],
    ids=["missing", "folder", "device", "JWK itself", "PEM itself", "zero"],
)
def test_a_path_that_is_no_file_is_refused(path: Path, reason: str) -> None:
    """The path is not repeated, because someone may have put the key itself there."""
    for settings in (Settings(gate_key_file=path), Settings(gate_public_key_files=(path,))):
        with pytest.raises(KeyFileError, match=reason) as caught:
            load_keys(settings)
        _nothing_of_the_key_in(str(caught.value))


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    """It is refused before it is opened."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(KeyFileError, match="not a file"):
        load_keys(Settings(gate_key_file=tmp_path / "pipe"))


def test_further_public_keys_are_served(tmp_path: Path) -> None:
    """A JWK, a set and PEM, each once; the key that signs comes first, and none is needed."""
    retired = key_file(tmp_path, {**set_of(ANOTHER_KEY)["keys"][0], "kid": "last year"}, "retired")
    published = key_file(tmp_path, set_of(PRINTED_KEY, ANOTHER_KEY), "set")
    ids = [one.kid for one in keys_of(ANOTHER_KEY).public.keys]
    one = load_keys(Settings(gate_key_file=key_file(tmp_path), gate_public_key_files=(retired, published)))
    assert [key.kid for key in one.public.keys] == [PRINTED_THUMBPRINT, *ids]
    only = load_keys(Settings(gate_public_key_files=(retired,)))
    assert [key.kid for key in only.public.keys] == ids
    assert only.signed(SIGNED) is SIGNED


def test_a_private_key_is_not_published(tmp_path: Path) -> None:
    """Among the public ones it stops the start, with the number of the file."""
    files = (key_file(tmp_path, PUBLIC, "public"), key_file(tmp_path, set_of(ANOTHER_KEY) | {"keys": [PRINTED_KEY]}))
    with pytest.raises(KeyFileError, match="_PUBLIC_KEY_FILES: file 2: a private key") as caught:
        load_keys(Settings(gate_public_key_files=files))
    _nothing_of_the_key_in(str(caught.value))


def test_the_key_is_not_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not in the settings, nor in the text of any object; yet other processes get it."""
    monkeypatch.setenv("STACKGAUGE_GATE_KEY_FILE", str(key_file(tmp_path)))
    monkeypatch.setenv("STACKGAUGE_GATE_PUBLIC_KEY_FILES", json.dumps([str(key_file(tmp_path, PUBLIC, "public"))]))
    assert main(["settings"]) == 0
    printed = capsys.readouterr().out
    lines = {line.split()[0]: line.split(maxsplit=2)[2] for line in printed.splitlines()}
    assert (lines["STACKGAUGE_GATE_KEY_FILE"], lines["STACKGAUGE_GATE_PUBLIC_KEY_FILES"]) == ("set", "1 set")
    keys = load_keys(Settings())
    assert str(tmp_path) not in f"{printed} {Settings()!r}"
    _nothing_of_the_key_in(f"{printed} {Settings()!r} {keys!r} {keys}")
    assert pickle.loads(pickle.dumps(keys)).signed(decided(dict(ORDER))).signature == SIGNED.signature  # noqa: S301


@pytest.mark.parametrize("workers", [pytest.param("1", marks=pytest.mark.long), "2"])
def test_a_wrong_key_stops_the_start(tmp_path: Path, workers: str) -> None:
    """Before there is any worker, with one sentence and the exit code for bad input."""
    with LiveService("--workers", workers, gate_key_file=str(key_file(tmp_path, mode=0o644))) as service:
        assert service.ended() == BAD_INPUT
        told = "".join(service.text)
        assert "_GATE_KEY_FILE: everybody on this machine" in told
        assert "Traceback" not in told
        _nothing_of_the_key_in(told)


# over HTTP


@pytest.fixture(scope="module")
def signing(assessor: Assessor) -> Client:
    return Client(create_app(Settings(), assessor, keys=keys_of()))


def _posted(client: Client, order: object) -> httpx.Response:
    headers = {"Content-Type": "application/json"}
    return client.request("POST", "/v1/gates", content=json.dumps(order).encode(), headers=headers)


def test_the_answer_is_signed(signing: Client, client: Client) -> None:
    """By a service with a key, byte for byte the same each time; without one it has null."""
    first = _posted(signing, ORDER)
    assert first.json() == TOLD
    assert _posted(signing, ORDER).content == first.content
    assert _posted(client, ORDER).json() == {**TOLD, "signature": None}
    _nothing_of_the_key_in(first.text)


@pytest.mark.parametrize(
    ("accept", "media_type"),
    [
        ("", "application/jwk-set+json"),
        ("*/*", "application/jwk-set+json"),
        ("application/jwk-set+json", "application/jwk-set+json"),
        ("application/json", "application/json"),
        ("application/json, */*;q=0.1", "application/json"),
    ],
)
def test_the_public_keys_are_served(signing: Client, accept: str, media_type: str) -> None:
    """As RFC 7517, section 8.5, and as JSON to whoever asks for that; only public members."""
    response = signing.get(KEYS_PATH, accept=accept)
    assert (response.status_code, response.headers["content-type"]) == (200, media_type)
    assert response.json() == {"keys": [{**PUBLIC, "kid": PRINTED_THUMBPRINT, "use": "sig", "alg": "Ed25519"}]}
    _nothing_of_the_key_in(response.text)


def test_the_public_keys_can_be_kept(signing: Client, client: Client) -> None:
    """With a tag that changes with the keys; none are there without a key, and other media types are refused."""
    first = signing.get(KEYS_PATH)
    again = signing.get(KEYS_PATH, if_none_match=first.headers["etag"])
    assert (again.status_code, again.content) == (304, b"")
    assert signing.request("HEAD", KEYS_PATH).headers["etag"] == first.headers["etag"]
    none = client.get(KEYS_PATH)
    assert none.json() == {"keys": []}
    assert none.headers["etag"] != first.headers["etag"]
    assert signing.get(KEYS_PATH, accept="text/html").status_code == 406
    assert signing.get(f"{KEYS_PATH}?kid=x").status_code == 422


def test_the_contract_does_not_depend_on_the_operator(tmp_path: Path, assessor: Assessor, client: Client) -> None:
    """Neither key nor profile is in its examples."""
    profile = tmp_path / "profile.yaml"
    profile.write_text("profile: shop-7")
    own = Client(create_app(Settings(gate_key_file=key_file(tmp_path), gate_profile=profile), assessor))
    assert own.get("/openapi.json").content == (Path(__file__).parents[2] / "openapi/v1.json").read_bytes()
    path = "/examples/gates/one-operation-held.answer.json"
    assert own.get(path).content == client.get(path).content


# the client


@pytest.mark.parametrize("kind", KINDS)
def test_the_client_releases_what_is_signed(kind: Kind, signing: Client, client: Client) -> None:
    """With keys, only an answer signed by one of them; without, as before."""
    face, unsigned = Face(kind, of_app(signing.app)), Face(kind, of_app(client.app))
    assert face.call("public_keys") == keys_of().public
    assert unsigned.call("public_keys") == PublicKeySet(keys=[])
    for keys in (set_of(), set_of(ANOTHER_KEY, PRINTED_KEY), keys_of().public, None):
        release = face.call("releases", ORDER, keys=keys)
        assert release
        assert release.report == SIGNED
    for answering, keys, reason in (
        (face, set_of(ANOTHER_KEY), "The answer is signed with a key that is not in the set."),
        (face, {"keys": []}, "The answer is signed with a key that is not in the set."),
        (unsigned, set_of(), "The answer has no signature."),
    ):
        release = answering.call("releases", ORDER, keys=keys)
        assert not release
        assert release.why == (reason,)
    assert face.call("releases", ORDER, keys={}).why == ("KeyDataError: not a JWK set",)


def test_a_released_answer_from_elsewhere_is_no_release() -> None:
    """What an imitation sends is complete and has the digests right, but not the signature."""
    imitation = {**TOLD, "signature": signed(jwk=ANOTHER_KEY).signature}
    with ApiClient(ADDRESS, transport=httpx.MockTransport(lambda _: httpx.Response(200, json=imitation))) as client:
        assert client.releases(ORDER)
        assert not client.releases(ORDER, keys=set_of())


def test_without_the_package_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """And releases nothing."""
    monkeypatch.setitem(sys.modules, "joserfc", None)
    with pytest.raises(ImportError, match=r"stackgauge\[verify\]' \(joserfc is not"):
        verify_signature(SIGNED, set_of())
    with pytest.raises(ImportError, match=r"stackgauge\[verify\]"):
        private_key(json.dumps(PRINTED_KEY).encode())
    answer = httpx.Response(200, json=TOLD)
    with ApiClient(ADDRESS, transport=httpx.MockTransport(lambda _: answer)) as client:
        release = client.releases(ORDER, keys=set_of())
    assert not release
    assert "pip install 'stackgauge[verify]'" in release.why[0]


# the command line


def _file(folder: Path, name: str, content: object) -> str:
    file = folder / name
    file.write_text(json.dumps(content), encoding="utf-8")
    return str(file)


def test_the_command_signs_as_the_service_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the same setting, the same bytes."""
    monkeypatch.setenv("STACKGAUGE_GATE_KEY_FILE", str(key_file(tmp_path)))
    assert main(["gate", _file(tmp_path, "order.json", ORDER), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == TOLD
    monkeypatch.setenv("STACKGAUGE_GATE_KEY_FILE", str(tmp_path))
    assert main(["gate", _file(tmp_path, "order.json", ORDER)]) == BAD_INPUT
    assert capsys.readouterr().err == "STACKGAUGE_GATE_KEY_FILE: not a file\n"


@pytest.mark.parametrize(
    ("name", "code", "first"),
    [
        ("released", 0, "RELEASE  KB-WO-0009, revision A"),
        ("held", 1, "HOLD  KB-WO-0009"),
        ("stopped", 2, "STOP  KB-WO-0009"),
        ("an expectation not met", 1, "RELEASE  KB-WO-0009"),
    ],
)
def test_a_stored_answer_is_verified_by_the_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, code: int, first: str
) -> None:
    """With the exit code of its decision; what is printed is signed, and wording from elsewhere is not printed."""
    told = signed(VARIOUS[name]).model_dump(mode="json")
    told["cautions"].append("Stand close to the open guard.")
    for one in told["operations"]:
        for reason in (*one["reasons"], *one["advice"]):
            reason["remedy"] = "Go ahead.\x1b[2J"
    answer, keys = _file(tmp_path, "answer.json", told), _file(tmp_path, "keys.json", set_of())
    assert main(["gate", "--verify", keys, answer]) == code
    printed = capsys.readouterr().out
    assert printed.partition("\n")[0] == first
    assert printed.split("Signed with the key\n")[1].strip() == PRINTED_THUMBPRINT
    assert told["digest"] in printed
    assert all(f"{one['decision']}  {one['id']} ({one['verdict']})" in printed for one in told["operations"])
    assert "open guard" not in printed
    assert "Go ahead" not in printed
    assert main(["gate", "--verify", keys, answer, "--json"]) == code
    assert capsys.readouterr().out.encode() == canonical(judgement_record(GateReport.model_validate(told))) + b"\n"


@pytest.mark.parametrize(
    ("answer", "keys", "reason"),
    [
        ({**TOLD, "may_start": False}, set_of(), "answer.json: The answer differs "),
        ({**TOLD, "signature": None}, set_of(), "answer.json: The answer has no signature."),
        (TOLD, set_of(ANOTHER_KEY), "that is not in the set."),
        (TOLD, {"keys": [PRINTED_KEY]}, "keys.json: the set has a private key"),
        (TOLD, [], "keys.json: not a JWK set"),
        (ORDER, set_of(), "answer.json:1:1: this is not the answer"),
        ([], set_of(), "answer.json:1:1: this is not the answer"),
    ],
    ids=["changed", "unsigned", "foreign", "private", "no set", "an order", "a list"],
)
def test_what_is_not_proven_is_bad_input(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], answer: object, keys: object, reason: str
) -> None:
    """Nothing is printed but the file and the reason."""
    files = _file(tmp_path, "keys.json", keys), _file(tmp_path, "answer.json", answer)
    assert main(["gate", "--verify", *files]) == BAD_INPUT
    told = capsys.readouterr()
    assert told.out == ""
    assert reason in told.err
    _nothing_of_the_key_in(told.err)


def test_verifying_judges_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """So it takes neither rulebooks nor expectations, and the files must be there and be JSON."""
    answer, keys = _file(tmp_path, "answer.json", TOLD), _file(tmp_path, "keys.json", set_of())
    assert main(["gate", "--verify", keys, answer, "--rulebooks", str(tmp_path)]) == BAD_INPUT
    assert "takes no --rulebooks" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        main(["gate", "--verify", keys, answer, "--expect", "version=1"])
    assert "not allowed with argument --verify" in capsys.readouterr().err
    assert main(["gate", "--verify", str(tmp_path / "none.json"), answer]) == BAD_INPUT
    twice = tmp_path / "twice.json"
    twice.write_text(json.dumps(TOLD)[:-1] + ', "may_start": false}')
    assert main(["gate", "--verify", keys, str(twice)]) == BAD_INPUT
    assert "duplicated" in capsys.readouterr().err


# several workers


def test_all_workers_sign_alike_and_the_key_can_be_changed(tmp_path: Path) -> None:
    """A key file that is broken meanwhile changes nothing; a reload takes the next key, and the old one stays served.

    Neither the log nor any answer has the private key.
    """
    file, public = key_file(tmp_path), key_file(tmp_path, set_of(PRINTED_KEY, ANOTHER_KEY), "public", 0o644)
    body, seen = json.dumps(ORDER), []

    def asked(service: LiveService, url: str) -> tuple[int, str, str]:
        """The process that answered over a new connection, its answer and its keys."""
        name = os.urandom(8).hex()
        headers = {"X-Request-ID": name, "Content-Type": "application/json"}
        answer = httpx.post(f"{url}/v1/gates", content=body, headers=headers, verify=NO_TLS, timeout=60)
        keys = httpx.get(f"{url}{KEYS_PATH}", verify=NO_TLS)
        seen.extend([answer.text, keys.text])
        pid = until(lambda: next((line["pid"] for line in service.log if line.get("request_id") == name), None))
        return int(pid), answer.text, keys.text

    def by_both(service: LiveService, url: str) -> tuple[str, set[str]]:
        """What both workers answer, which is one text, and the keys they serve."""
        answers: dict[int, str] = {}
        keys = set()

        def both() -> bool:
            pid, answer, served = asked(service, url)
            answers[pid] = answer
            keys.add(served)
            return len(answers) == 2

        until(both)
        (answer,) = set(answers.values())
        return answer, keys

    settings = {"gate_key_file": str(file), "gate_public_key_files": json.dumps([str(public)])}
    with LiveService("--workers", "2", **settings) as service:
        url = service.url
        until(lambda: len(service.workers()) == 2)
        before, served = by_both(service, url)
        assert json.loads(before) == TOLD
        (keys,) = served
        kept = json.loads(keys)

        key_file(tmp_path, b"half a key")
        service.reload()
        until(lambda: service.said("nothing was reloaded"))
        assert service.said("_GATE_KEY_FILE: neither a JWK nor")
        assert by_both(service, url) == (before, served)

        key_file(tmp_path, ANOTHER_KEY)
        service.reload()
        until(lambda: any(line["message"] == "reloaded" for line in service.log))
        after, _ = by_both(service, url)
        assert json.loads(after) == signed(jwk=ANOTHER_KEY).model_dump(mode="json")
        # who keeps the keys of before verifies both
        for answer in (before, after):
            verify_signature(GateReport.model_validate_json(answer), kept)
        service.terminate()
        assert service.ended() == 0
        _nothing_of_the_key_in("".join(service.text))
    _nothing_of_the_key_in("".join(seen))
