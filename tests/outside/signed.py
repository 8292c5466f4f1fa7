"""What pyHanko says of a signed PDF: python signed.py FILE ROOT FOLDER. The parts of the signature go into the folder, for OpenSSL."""

import json
import pathlib
import sys

from asn1crypto import cms
from pyhanko.keys import load_cert_from_pemder
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

path, root, folder = sys.argv[1], sys.argv[2], pathlib.Path(sys.argv[3])
with open(path, "rb") as file:
    reader = PdfFileReader(file)
    signatures = reader.embedded_signatures
    assert len(signatures) == 1, len(signatures)
    one = signatures[0]
    context = lambda: ValidationContext(trust_roots=[load_cert_from_pemder(root)], allow_fetching=False)
    status = validate_pdf_signature(one, context(), ts_validation_context=context())
    told = {
        "intact": status.intact,
        "valid": status.valid,
        "trusted": status.trusted,
        "bottom_line": status.bottom_line,
        "coverage": status.coverage.name,
        "subfilter": one.sig_object["/SubFilter"],
        "modified": status.modification_level.name if status.modification_level else None,
        "signer": status.signing_cert.subject.human_friendly,
        "timestamp": None,
        "attributes": sorted(a["type"].native for a in one.signer_info["signed_attrs"]),
    }
    if status.timestamp_validity is not None:
        stamp = status.timestamp_validity
        told["timestamp"] = {
            "intact": stamp.intact,
            "valid": stamp.valid,
            "trusted": stamp.trusted,
            "at": stamp.timestamp.isoformat(),
        }
    whole = one.pkcs7_content
    info = cms.ContentInfo.load(whole)
    (folder / "signature.der").write_bytes(info.dump())
    (folder / "value.bin").write_bytes(one.signer_info["signature"].native)
    for attribute in one.signer_info["unsigned_attrs"] or []:
        if attribute["type"].native == "signature_time_stamp_token":
            (folder / "token.der").write_bytes(attribute["values"][0].dump())
    file.seek(0)
    everything = file.read()
    a, b, c, d = (int(n) for n in one.byte_range)
    (folder / "covered.bin").write_bytes(everything[a : a + b] + everything[c : c + d])
print(json.dumps(told))
