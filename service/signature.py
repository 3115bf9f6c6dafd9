"""Signature of a gate's answer: a compact JWS (RFC 7515) over the record of its decision, with Ed25519 (RFC 9864).

The record is that of :func:`rules.gate.digest.judgement_record`. Neither record nor header has a time, and Ed25519 is
deterministic, so the same answer gets the same signature.
"""

from __future__ import annotations

import json
from base64 import urlsafe_b64decode
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from rules import missing_extra
from rules.gate.digest import RECORD_FORM, canonical, context_sha256, judgement_record, report_digest
from rules.schema.gate import EVALUATIONS, GateReport
from rules.schema.strict_json import NotJSONError, parse_json
from service.contract import PublicKey, PublicKeySet

if TYPE_CHECKING:
    from joserfc.jwk import OKPKey

__all__ = [
    "ALGORITHM",
    "KeyDataError",
    "Keys",
    "SignatureError",
    "private_key",
    "public_key",
    "public_keys",
    "sign",
    "verify_signature",
]

ALGORITHM: Final = "Ed25519"
"""The only algorithm, for signing and for verifying; a header cannot choose another one."""

TYPE: Final = "stackgauge-gate-record"
"""The `typ` of the header, so that no other text signed with the key passes for a decision (RFC 8725, section 3.11)."""

Keys: TypeAlias = PublicKeySet | Mapping[str, Any]
"""A JWK set, as a model or as an equivalent dictionary."""

_KIND: Final = {"kty": "OKP", "crv": "Ed25519"}


class SignatureError(ValueError):
    """The signature of an answer is missing, or does not prove that a known key signed this decision."""


class KeyDataError(ValueError):
    """No usable key; the message says why and holds nothing of the data."""


def private_key(data: bytes) -> dict[str, str]:
    """Return the private Ed25519 key of a JWK or of PEM text as the members of a JWK.

    Raises :class:`KeyDataError`.
    """
    keys = _read(data)
    if len(keys) != 1 or not keys[0].is_private:
        raise KeyDataError("a single private key is needed")
    (key,) = keys
    return {name: str(value) for name, value in key.as_dict(private=True).items() if name in ("kty", "crv", "x", "d")}


def public_keys(data: bytes) -> list[PublicKey]:
    """Return the public Ed25519 keys of a JWK, of a JWK set or of PEM text.

    Raises :class:`KeyDataError`, also for a private key: what is published must not lie in a file that is published.
    """
    keys = _read(data)
    if any(key.is_private for key in keys):
        raise KeyDataError("a private key; only a public one may be here")
    return [_published(key) for key in keys]


def sign(report: GateReport, key: Mapping[str, str]) -> str:
    """Return the signature of a report with a key of :func:`private_key`."""
    from joserfc import jws
    from joserfc.jwk import OKPKey

    signing = OKPKey.import_key(dict(key))
    header = {"alg": ALGORITHM, "kid": signing.thumbprint(), "typ": TYPE}
    return jws.serialize_compact(header, canonical(judgement_record(report)), signing, [ALGORITHM])


def public_key(key: Mapping[str, str]) -> PublicKey:
    """Return the public part of a key of :func:`private_key`."""
    from joserfc.jwk import OKPKey

    return _published(OKPKey.import_key({name: one for name, one in key.items() if name != "d"}))


def verify_signature(report: GateReport, keys: Keys) -> str:
    """Return the id of the key that signed the decision of a report.

    The signature must be of Ed25519, by a key of the set, over the record of exactly this report; the digest of the
    report must be that of its operations. Wording, cautions and check reports inside the answer are not covered.
    Whoever sends an answer could send keys with it, so take the keys from where the operator publishes them, once, and
    keep them.

    Parameters
    ----------
    report : GateReport
        Answer of a gate, fresh or stored.
    keys : PublicKeySet or mapping
        JWK set; keys of other kinds in it are ignored.

    Returns
    -------
    str
        Thumbprint of RFC 7638 of the key.

    Raises
    ------
    SignatureError
        The answer is not signed, or not by such a key, or not as it stands.
    KeyDataError
        The set is no JWK set or has a private key.
    MissingExtraError
        The package that verifies is not installed.
    """
    _require_library()
    from joserfc import jws
    from joserfc.errors import JoseError

    known = _known(keys)

    if report.signature is None:
        raise SignatureError("The answer has no signature.")
    key = known.get(_key_id(report.signature))
    if key is None:
        raise SignatureError("The answer is signed with a key that is not in the set.")
    registry = jws.JWSRegistry(algorithms=[ALGORITHM])
    registry.max_payload_length = len(report.signature)  # it is in memory already
    try:
        received = jws.extract_compact(report.signature.encode("ascii"), registry=registry)
        genuine = jws.validate_compact(received, key, registry=registry)
    except (JoseError, ValueError):
        genuine = False
    if not genuine:
        raise SignatureError("The signature does not match what was signed; it was changed or cut.")
    _compare(received.payload, report)
    return key.thumbprint()


def _compare(signed: bytes, report: GateReport) -> None:
    record = judgement_record(report)
    if signed != canonical(record):
        told = _object(signed)
        if told is None or told.get("form") != RECORD_FORM:
            raise SignatureError(f"The signed record has another form; this version knows form {RECORD_FORM} only.")
        changed = sorted(name for name in told.keys() | record.keys() if told.get(name) != record.get(name))
        raise SignatureError(f"The answer differs from what was signed: {', '.join(changed) or 'spelling'}.")
    if report.digest != report_digest(report) or report.context_sha256 != context_sha256(report.context):
        raise SignatureError("The digests of the answer are not those of its operations and context.")
    if (report.evaluation, report.evaluation_name) != EVALUATIONS[report.decision]:
        raise SignatureError("The evaluation contradicts the decision.")


def _key_id(signature: str) -> str:
    """Return the key's id from the header of a signature; raise :class:`SignatureError` for any other header."""
    head, *others = signature.split(".")
    if len(others) != 2 or not all(others):
        raise SignatureError("The signature is not a compact JWS with its payload.")
    try:
        header = _object(urlsafe_b64decode(head.encode("ascii") + b"=" * (-len(head) % 4)))
    except ValueError:
        header = None
    if header is None:
        raise SignatureError("The header of the signature cannot be read.")
    if header.get("alg") != ALGORITHM:
        told = json.dumps(header.get("alg"))[:40]
        raise SignatureError(f"The algorithm of the signature is {told}; only {ALGORITHM} is accepted.")
    kid = header.get("kid")
    if header.keys() != {"alg", "kid", "typ"} or header["typ"] != TYPE or not isinstance(kid, str):
        raise SignatureError("The header of the signature is not that of a gate's record.")
    return kid


def _object(data: bytes) -> dict[str, Any] | None:
    """Return the JSON object of some bytes; None if they are anything else."""
    try:
        found = parse_json(data)
    except NotJSONError:
        return None
    return found if isinstance(found, dict) else None


def _known(keys: Keys) -> dict[str, OKPKey]:
    """Return the usable keys of a set by thumbprint, whatever ids the set gives them."""
    held = keys.model_dump() if isinstance(keys, PublicKeySet) else keys
    found = held.get("keys") if isinstance(held, Mapping) else None
    if not isinstance(found, list) or not all(isinstance(one, Mapping) for one in found):
        raise KeyDataError("not a JWK set")
    # RFC 7517, section 5: keys of unknown kinds are ignored.
    own = [_of_jwk(one) for one in found if _KIND.items() <= one.items()]
    if any(key.is_private for key in own):
        raise KeyDataError("the set has a private key, which everyone could sign with")
    return {key.thumbprint(): key for key in own}


def _require_library() -> None:
    try:
        import joserfc  # noqa: F401 - the wheel of a client need not have it
    except ModuleNotFoundError as error:
        raise missing_extra("The signature of a gate", error, "verify") or error from None


def _read(data: bytes) -> list[OKPKey]:
    _require_library()
    found = _object(data)
    if found is not None:
        several = found.get("keys")
        return [_of_jwk(one) for one in (several if isinstance(several, list) else [found])]
    if data.count(b"-----BEGIN ") != 1:
        raise KeyDataError("neither a JWK nor one key in PEM")
    label = data.partition(b"-----BEGIN ")[2].partition(b"-----")[0]
    if label == b"ENCRYPTED PRIVATE KEY":
        raise KeyDataError("an encrypted key; store it without a passphrase")
    if label not in (b"PRIVATE KEY", b"PUBLIC KEY"):
        raise KeyDataError("a PEM of another kind; PRIVATE KEY or PUBLIC KEY is needed")
    return [_imported(data)]


def _of_jwk(jwk: Any) -> OKPKey:
    if not isinstance(jwk, Mapping) or not _KIND.items() <= jwk.items():
        raise KeyDataError("not an Ed25519 key")
    operations = jwk.get("key_ops", ["sign", "verify"])
    usable = isinstance(operations, list) and ("sign" in operations or "verify" in operations)
    if jwk.get("use", "sig") != "sig" or jwk.get("alg", ALGORITHM) not in (ALGORITHM, "EdDSA") or not usable:
        raise KeyDataError("a key for another use than signatures with Ed25519")
    members = {name: jwk[name] for name in ("kty", "crv", "x", "d") if name in jwk}
    key = _imported(members)
    if key.as_dict(private=False)["x"] != jwk["x"]:
        raise KeyDataError("a JWK whose x and d do not belong together")
    return key


def _imported(key: bytes | dict[str, Any]) -> OKPKey:
    from joserfc.errors import JoseError
    from joserfc.jwk import OKPKey

    try:
        found = OKPKey.import_key(key)
    except (JoseError, ValueError, TypeError):
        # Messages of the library may quote the key.
        raise KeyDataError("not an Ed25519 key") from None
    if found.curve_name != "Ed25519":
        raise KeyDataError("not an Ed25519 key")
    # From the key itself: ids, uses and an x that a file states are not taken over.
    return OKPKey.import_key(found.raw_value)


def _published(key: OKPKey) -> PublicKey:
    return PublicKey(**_KIND, x=str(key.as_dict(private=False)["x"]), kid=key.thumbprint(), use="sig", alg=ALGORITHM)
