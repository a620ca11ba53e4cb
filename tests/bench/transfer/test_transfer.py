"""`make bench` runs the whole bench and writes docs/results/transfers.md. It asserts nothing about time."""

import pytest

from tests.bench.transfer import report
from tests.bench.transfer.__main__ import PARTS, measure
from tests.bench.transfer.programs import OTHERS, ROOT, ProgramMissingError, found
from tests.conftest import missing
from tests.servers.s3 import ServerMissingError

ROUNDS = 5


@pytest.mark.bench
@pytest.mark.seaweedfs
@pytest.mark.ceph
def test_transfers_beside_other_programs(tmp_path):
    try:
        for program in OTHERS:
            found(program.name)
        page = measure(set(PARTS), ROUNDS, tmp_path)
    except (ProgramMissingError, ServerMissingError) as error:
        missing(str(error))
        raise
    print(page)
    report.write(page, ROOT / "docs" / "results" / "transfers.md")
