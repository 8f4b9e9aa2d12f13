from pathlib import Path
from tests.reports.cases import *
from reports.visits import visit_pdf

OUT = Path("/tmp/look")
OUT.mkdir(exist_ok=True)


def test_plain(body, technician, person, manager):
    f = paper_facts(body, technician)
    (OUT / "plain.pdf").write_bytes(visit_pdf(f, known_on=KNOWN_ON))
    (OUT / "letter.pdf").write_bytes(visit_pdf(f, known_on=KNOWN_ON, paper="Letter"))


def test_unsafe(body, technician):
    (OUT / "unsafe.pdf").write_bytes(visit_pdf(paper_facts(unsafe(body), technician), known_on=KNOWN_ON))


def test_many(body, technician, manager, boiler):
    attach(MANY_SETS, boiler, manager)
    (OUT / "many.pdf").write_bytes(visit_pdf(paper_facts(full(body), technician), known_on=KNOWN_ON))
