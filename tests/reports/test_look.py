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


from reports.statements import statement_pdf, statement_csv


def test_statement(boiler, person, analyser, manager):
    s = twelve(boiler, person, analyser, manager)
    (OUT / "statement.pdf").write_bytes(statement_pdf(s))
    (OUT / "statement.csv").write_bytes(statement_csv(s))


def test_corrected(body, technician, manager):
    (OUT / "corrected.pdf").write_bytes(visit_pdf(corrected(body, technician, manager), known_on=KNOWN_ON))


def test_dilute(body, technician, manager):
    for r in body["readings"]:
        r["values"].pop("co2")
        r["values"]["o2"] = measured("18.5", "%")
    body["readings"][0]["rate"] = "mid"
    body["readings"].append({**body["readings"][1], "rate": "point 4"})
    (OUT / "dilute.pdf").write_bytes(visit_pdf(paper_facts(body, technician), known_on=KNOWN_ON))


def test_none(body, technician, manager):
    body |= {
        "readings": [],
        "work": [],
        "outcome": "not tested",
        "outcome_reason": "nobody in",
        "disposition": {"state": "not touched"},
    }
    (OUT / "none.pdf").write_bytes(visit_pdf(paper_facts(body, technician), known_on=KNOWN_ON))
