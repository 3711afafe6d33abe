"""The signature and canonical-JSON libraries against the published vectors of their RFCs."""

from __future__ import annotations

import json
import struct

import pytest
import rfc8785
from joserfc import jws
from joserfc.jwk import OctKey, OKPKey


@pytest.mark.filterwarnings("ignore:EdDSA is deprecated:joserfc.errors.SecurityWarning")
def test_ed25519_signature() -> None:
    """RFC 8037 appendix A.4: the signature of the example text by the key of appendix A.1."""
    key = OKPKey.import_key(
        {
            "kty": "OKP",
            "crv": "Ed25519",
            "d": "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A",
            "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
        },
    )
    expected = (
        "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc."
        "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
    )
    actual = jws.serialize_compact({"alg": "EdDSA"}, b"Example of Ed25519 signing", key, algorithms=["EdDSA"])
    assert expected == actual


def test_key_thumbprint() -> None:
    """RFC 8037 appendix A.3: the thumbprint of the public key, which is our key id."""
    key = OKPKey.import_key({"kty": "OKP", "crv": "Ed25519", "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"})
    assert key.thumbprint() == "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"


def test_hmac_example() -> None:
    """RFC 7515 appendix A.1: the HS256 example verifies: compact signatures are read as the RFC writes them."""
    key = OctKey.import_key(
        {
            "kty": "oct",
            "k": "AyM1SysPpbyDfgZld3umj1qzKObwVMkoqQ-EstJQLr_T-1qS0gZH75aKtMN3Yj0iPS4hcgUuTwjAzZr1Z9CAow",
        },
    )
    text = (
        "eyJ0eXAiOiJKV1QiLA0KICJhbGciOiJIUzI1NiJ9."
        "eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFtcGxlLmNvbS9pc19yb290Ijp0cnVlfQ."
        "dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk"
    )
    actual = jws.deserialize_compact(text, key, algorithms=["HS256"]).payload
    assert actual == b'{"iss":"joe",\r\n "exp":1300819380,\r\n "http://example.com/is_root":true}'


@pytest.mark.parametrize(
    ("bits", "expected"),
    [
        ("0000000000000000", "0"),
        ("8000000000000000", "0"),
        ("0000000000000001", "5e-324"),
        ("8000000000000001", "-5e-324"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("4340000000000000", "9007199254740992"),
        ("4430000000000000", "295147905179352830000"),
        ("44b52d02c7e14af5", "9.999999999999997e+22"),
        ("44b52d02c7e14af6", "1e+23"),
        ("44b52d02c7e14af7", "1.0000000000000001e+23"),
        ("444b1ae4d6e2ef4e", "999999999999999700000"),
        ("444b1ae4d6e2ef4f", "999999999999999900000"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("41b3de4355555553", "333333333.3333332"),
        ("41b3de4355555557", "333333333.33333343"),
        ("becbf647612f3696", "-0.0000033333333333333333"),
        ("43143ff3c1cb0959", "1424953923781206.2"),
    ],
)
def test_canonical_numbers(bits: str, expected: str) -> None:
    """RFC 8785 appendix B: number serialisation."""
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert expected == rfc8785.dumps(number).decode()


def test_canonical_object() -> None:
    """RFC 8785 section 3.2: the sample object, its members sorted and its text unescaped."""
    sample = json.loads(
        r"""{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/", "literals": [null, true, false]}""",
    )
    expected = (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        r'"string":"€$\u000f\nA' + "'" + r'B\"\\\\\"/"}'
    )
    assert expected == rfc8785.dumps(sample).decode()
