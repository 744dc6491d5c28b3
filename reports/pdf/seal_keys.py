"""The key that the service seals documents with, and its certificate: ECDSA P-256.

Apart from the sealing itself, whose library is large: who only asks for the key or a fingerprint does not load it.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

YEARS = 10  # no document is sealed for longer by one key; a seal of then still holds afterwards


@dataclass(frozen=True, kw_only=True)
class SealKey:
    key: ec.EllipticCurvePrivateKey
    certificate: x509.Certificate


def new_key(*, name: str, at: datetime) -> SealKey:
    """A fresh key with a certificate that it signs itself, valid for ten years."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    usage = x509.KeyUsage(
        digital_signature=True, content_commitment=True, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=False, crl_sign=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(at - timedelta(days=1))
        .not_valid_after(at + timedelta(days=365 * YEARS))
        .add_extension(usage, critical=True)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
    )
    return SealKey(key=key, certificate=builder.sign(key, hashes.SHA256()))


def key_pem(seal: SealKey) -> bytes:
    """The key as a file holds it, not encrypted: only its owner may read that file."""
    return seal.key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def certificate_pem(certificate: x509.Certificate) -> bytes:
    return certificate.public_bytes(serialization.Encoding.PEM)


def load(key_file: bytes, certificates_file: bytes) -> SealKey:
    """The key in use. The certificates' file begins with its certificate; those of earlier keys follow.

    Raises ValueError when the two do not belong together.
    """
    key = serialization.load_pem_private_key(key_file, password=None)
    certificate = known_certificates(certificates_file)[0]
    if not isinstance(key, ec.EllipticCurvePrivateKey) or certificate.public_key() != key.public_key():
        raise ValueError("the first certificate is not that of the key, or the key is no P-256 one")
    return SealKey(key=key, certificate=certificate)


def known_certificates(certificates_file: bytes) -> list[x509.Certificate]:
    """All certificates that the service has sealed with, the newest first."""
    return x509.load_pem_x509_certificates(certificates_file)


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 of a certificate, as it is published."""
    return certificate.fingerprint(hashes.SHA256()).hex()
