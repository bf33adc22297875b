"""No file, however bad, brings down intake, hangs it, or changes a number in silence."""

import signal

import pandas as pd
import pytest

from tests.intake.bad_files import BAD
from tests.intake.corpus import CASES, LAYOUT
from trialkit.cli.checking import printable

HANGS_AFTER = 10  # seconds of the processor's time


@pytest.fixture(autouse=True)
def _no_hang():
    def stop(*_):
        raise TimeoutError("intake hangs")

    signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, HANGS_AFTER)
    yield
    signal.setitimer(signal.ITIMER_VIRTUAL, 0)


@pytest.mark.parametrize("bad", BAD, ids=lambda bad: bad.name)
def test_a_bad_file_is_told_or_changes_nothing(mini, bad):
    before = mini.read()
    if bad.instead:
        for path in mini.site.glob("*.csv"):
            path.unlink()
    for name, data in bad.files.items():
        (mini.site / name).write_bytes(data)
    read = mini.read()
    told = {fault.code for fault in read.faults if fault.severity != "note"}
    assert bad.codes <= told
    assert all(fault.what and fault.remedy for fault in read.faults)
    assert all(printable(str(fault)).isprintable() for fault in read.faults)
    if bad.same:
        assert not read.errors or bad.codes
        for table, frame in before.tables.items():
            pd.testing.assert_frame_equal(read.tables[table], frame)
    else:
        assert read.faults != before.faults


def test_the_corpus_has_a_name_for_every_file():
    names = [case.name for case in (*CASES, *LAYOUT, *BAD)]
    assert len(set(names)) == len(names) >= 60
