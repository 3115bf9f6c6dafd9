"""Keys and signatures in print, by what signs and verifies the answers of gates."""

from __future__ import annotations

import json
import warnings

import pytest
from joserfc import jws
from joserfc.errors import SecurityWarning
from joserfc.jwk import OKPKey, RSAKey

from service.signature import private_key, public_key, public_keys
from tests.support.signing import PRINTED_KEY, PRINTED_PEM, PRINTED_THUMBPRINT

PRINTED_PUBLIC_PEM = """\
-----BEGIN PUBLIC KEY-----
MCowBQYDK2VwAyEAGb9ECWmEzf6FQbrBZ9w7lshQhqowtrbLDFw4rXAxZuE=
-----END PUBLIC KEY-----
"""


def test_the_public_key_of_a_private_one() -> None:
    """Literature: RFC 8037 (2017), Example keys of appendices A.1 and A.2."""
    assert public_key(private_key(json.dumps(PRINTED_KEY).encode())).x == PRINTED_KEY["x"]


def test_the_thumbprint_of_an_ed25519_key() -> None:
    """Literature: RFC 8037 (2017), Example of appendix A.3: SHA-256 over the required members, RFC 7638."""
    (key,) = public_keys(json.dumps({name: one for name, one in PRINTED_KEY.items() if name != "d"}).encode())
    assert key.kid == PRINTED_THUMBPRINT


def test_the_thumbprint_of_an_rsa_key() -> None:
    """Literature: RFC 7638 (2015), Example of section 3.1; members beyond the required ones make no difference."""
    modulus = (
        "0vx7agoebGcQSuuPiLJXZptN9nndrQmbXEps2aiAFbWhM78LhWx4cbbfAAtVT86zwu1RK7aPFFxuhDR1L6tSoc_BJECPebWKRXjBZCiFV4n3"
        "oknjhMstn64tZ_2W-5JsGY4Hc5n9yBXArwl93lqt7_RN5w6Cf0h4QyQ5v-65YGjQR0_FDW2QvzqY368QQMicAtaSqzs8KJZgnYb9c7d0zgdA"
        "ZHzu6qMQvRL5hajrn1n91CbOpbISD08qNLyrdkt-bFTWhAI4vMQFh6WeZu0fM4lFd2NcRwr3XPksINHaQ-G_xBniIqbw0Ls1jF44-csFCur-"
        "kEgU8awapJzKnqDKgw"
    )
    key = RSAKey.import_key({"kty": "RSA", "n": modulus, "e": "AQAB", "alg": "RS256", "kid": "2011-04-29"})
    assert key.thumbprint() == "NzbLsXh8uDCcd-6MNwXF4W_7noWXFZAfHkxZsRGC9Xs"


def test_a_compact_signature() -> None:
    """Literature: RFC 8037 (2017), Example of appendices A.4 and A.5, signed and verified.

    Its header has the name EdDSA, which RFC 9864 has since replaced; the library warns of it.
    """
    printed = (
        "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc."
        "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
    )
    key = OKPKey.import_key(private_key(json.dumps(PRINTED_KEY).encode()))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SecurityWarning)
        assert jws.serialize_compact({"alg": "EdDSA"}, b"Example of Ed25519 signing", key, ["EdDSA"]) == printed
        assert jws.deserialize_compact(printed, key, ["EdDSA"]).payload == b"Example of Ed25519 signing"
        for changed in (printed[:-1], printed.replace(".RX", ".SX"), printed[:-2] + "Qg"):
            with pytest.raises(Exception, match="bad_signature"):
                jws.deserialize_compact(changed, key, ["EdDSA"])


def test_keys_in_pem() -> None:
    """Literature: RFC 8410 (2018), Example of sections 10.1 and 10.3: the public and the private key are one pair."""
    (printed,) = public_keys(PRINTED_PUBLIC_PEM.encode())
    assert public_key(private_key(PRINTED_PEM.encode())) == printed
