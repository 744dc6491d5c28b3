"""The service's seal on a document: a PAdES signature, ECDSA P-256 with SHA-256, deterministic (RFC 6979).

The sealed file begins with the unsealed bytes, so what was drawn up can be compared with what is drawn up again.
pyHanko would rewrite the metadata and the version, after which the file is no PDF/A; the overrides below keep it from
that, two of them of private methods. Its version is pinned, and a test holds the bytes.
"""

import hashlib
import io
import logging
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from asn1crypto import keys
from asn1crypto import x509 as asn1_x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign import fields, signers
from pyhanko.sign.fields import MDPPerm, SigSeedSubFilter
from pyhanko.sign.signers.pdf_signer import PdfSigningSession
from pyhanko.sign.validation import SignatureCoverageLevel, validate_pdf_signature
from pyhanko_certvalidator import ValidationContext
from pyhanko_certvalidator.registry import SimpleCertificateStore

from reels.domain.words import counted
from reports.pdf.seal_keys import SealKey

_UNTYPED: Any = generic  # its constructors have no types
FIELD = "Seal"
FIELD_WORDS = "Seal of the service over the whole of this document; it shows nothing on the page"
RESERVED = 8192  # hexadecimal digits for the signature, which is filled into a gap that the signed bytes leave out

# An unknown certificate is a verdict here, not an event: pyHanko would log a traceback for it.
for _name in ("pyhanko", "pyhanko_certvalidator"):
    logging.getLogger(_name).setLevel(logging.CRITICAL)


@dataclass(frozen=True, slots=True, kw_only=True)
class SealCheck:
    """Whether a seal holds, over the whole file and unchanged since; fingerprint: SHA-256 of its certificate."""

    holds: bool
    why: str
    fingerprint: str = ""


# Sealing ------------------------------------------------------------------------------------------------------------


class _Writer(IncrementalPdfFileWriter):
    """Adds the signature and changes nothing else."""

    def ensure_output_version(self, version: Any) -> None:
        pass

    def _update_meta(self) -> None:
        pass

    @classmethod
    def _handle_id(cls, prev: PdfFileReader) -> Any:
        """The file's second id from its bytes; pyHanko's is random, and the same seal would differ each time."""
        first = prev.trailer["/ID"][0]
        prev.stream.seek(0)
        second = hashlib.sha256(prev.stream.read()).digest()[:16]
        return generic.ArrayObject([generic.ByteStringObject(first.original_bytes), generic.ByteStringObject(second)])


class _PdfSigner(signers.PdfSigner):
    when: datetime

    def register_extensions(self, pdf_out: Any, *, md_algorithm: str) -> None:
        pass

    def init_signing_session(self, *args: Any, **options: Any) -> PdfSigningSession:
        session = super().init_signing_session(*args, **options)
        session.system_time = self.when  # not the clock's
        return session


class _Signer(signers.SimpleSigner):
    key: ec.EllipticCurvePrivateKey

    def sign_raw(self, data: bytes, digest_algorithm: str) -> bytes:
        """RFC 6979: the nonce comes from the key and the data, so that equal input gives equal bytes."""
        return self.key.sign(data, ec.ECDSA(hashes.SHA256(), deterministic_signing=True))


def seal_document(content: bytes, seal: SealKey, *, at: datetime) -> bytes:
    """The document under the seal; the same document, key and time give the same bytes.

    at: the time that the seal names, the service's own claim.
    """
    signer = _Signer(
        signing_cert=asn1_x509.Certificate.load(seal.certificate.public_bytes(serialization.Encoding.DER)),
        signing_key=keys.PrivateKeyInfo.load(
            seal.key.private_bytes(
                serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
            )
        ),
        cert_registry=SimpleCertificateStore(),  # type: ignore[no-untyped-call]  # its __init__ has no types
    )
    signer.key = seal.key
    writer = _Writer(io.BytesIO(content))
    fields.append_signature_field(
        writer, fields.SigFieldSpec(FIELD, on_page=0, box=None, readable_field_name=FIELD_WORDS)
    )
    _tag_field(writer)
    metadata = signers.PdfSignatureMetadata(
        field_name=FIELD, md_algorithm="sha256", subfilter=SigSeedSubFilter.PADES, certify=True,
        docmdp_permissions=MDPPerm.NO_CHANGES,
    )  # fmt: skip
    pdf_signer = _PdfSigner(metadata, signer=signer)
    pdf_signer.when = at
    out = io.BytesIO()
    pdf_signer.sign_pdf(writer, existing_fields_only=True, bytes_reserved=RESERVED, output=out)
    return out.getvalue()


def _tag_field(writer: IncrementalPdfFileWriter) -> None:
    """Put the seal's field last into the structure, or a screen reader would meet it outside of the document."""
    tree, make, name = writer.root["/StructTreeRoot"], _UNTYPED, generic.NameObject
    root, field = tree["/K"].raw_get(0), writer.root["/AcroForm"]["/Fields"].raw_get(-1)
    content = make.DictionaryObject({name("/Type"): name("/OBJR"), name("/Obj"): field})
    element = writer.add_object(make.DictionaryObject({
        name("/Type"): name("/StructElem"), name("/S"): name("/Form"), name("/P"): root, name("/K"): content,
        name("/Alt"): generic.TextStringObject(FIELD_WORDS),
    }))  # fmt: skip
    number = tree["/ParentTreeNextKey"]
    field.get_object()[name("/StructParent")] = make.NumberObject(number)
    tree["/ParentTree"]["/Nums"].extend([make.NumberObject(number), element])
    tree[name("/ParentTreeNextKey")] = make.NumberObject(number + 1)
    root.get_object()["/K"].append(element)
    for changed in (field.get_object(), tree["/ParentTree"], tree, root.get_object()):
        writer.update_container(changed)


# Checking -----------------------------------------------------------------------------------------------------------


def check_seal(content: bytes) -> SealCheck:
    """Whether the file carries exactly one seal that covers all of it and was not broken; never raises.

    Whose certificate it is, the caller tells from its fingerprint. Nothing is fetched from anywhere.
    """
    try:
        return _check_seal(content)
    except Exception as wrong:  # noqa: BLE001  # a stranger's file: whatever it breaks, the seal does not hold
        return SealCheck(holds=False, why=f"The seal cannot be read ({type(wrong).__name__}).")


def _check_seal(content: bytes) -> SealCheck:
    signatures = PdfFileReader(io.BytesIO(content), strict=True).embedded_signatures
    if len(signatures) != 1:
        return SealCheck(holds=False, why=f"It has {counted(len(signatures), 'seal')}; there should be one.")
    [signature] = signatures
    certificate = signature.signer_cert
    context = ValidationContext(trust_roots=[certificate], allow_fetching=False)
    status = validate_pdf_signature(signature, signer_validation_context=context)
    fault = ""
    if not (status.intact and status.valid):
        fault = "The file was changed after it was sealed."
    elif status.coverage is not SignatureCoverageLevel.ENTIRE_FILE:
        fault = "Something was added to the file after it was sealed."
    elif not (status.bottom_line and _was_valid(certificate, signature.self_reported_timestamp)):
        fault = "The seal's certificate was not valid at the time that the seal names, or may not seal."
    return SealCheck(
        holds=not fault, why=fault or "It holds over the whole file.",
        fingerprint=hashlib.sha256(certificate.dump()).hexdigest(),
    )  # fmt: skip


def _was_valid(certificate: asn1_x509.Certificate, when: datetime | None) -> bool:
    """As of the time that the seal names: a certificate that has run out since does not make an old seal wrong."""
    return when is not None and bool(certificate.not_valid_before <= when <= certificate.not_valid_after)
