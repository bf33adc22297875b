"""The index leads to every report and says what to mend where one is missing."""

from pathlib import Path

import pytest

from trialkit.publish import IndexEntry, VerdictLine, index_page
from trialkit.study import read_study

EXAMPLE = Path(__file__).resolve().parents[2] / "data_examples" / "eggplant_flea_beetle"


@pytest.fixture(scope="module")
def study():
    return read_study(EXAMPLE)


def entry(study, **changes) -> IndexEntry:
    primary = next(measure.id for measure in study.measures if measure.primary)
    verdicts = (
        VerdictLine(primary, "netting", "worthwhile", "better"),
        VerdictLine(primary, "kaolin", "not settled", "better"),
        VerdictLine(primary, "clover", "some effect", "worse"),
    )
    facts = {
        "season": 2024,
        "site": "alder_bench",
        "href": "2024/alder_bench/report.html",
        "status": "ready",
        "verdicts": verdicts,
    }
    return IndexEntry(**{**facts, **changes})


def test_every_report_is_linked_with_its_verdicts(study) -> None:
    page = index_page(study, [entry(study)])
    assert 'href="2024/alder_bench/report.html"' in page
    assert "Worthwhile, better than the check" in page
    assert "Some effect, worse than the check" in page
    assert "Not settled</dt><dd>Kaolin" in page


def test_a_failed_report_says_which_file_to_mend(study) -> None:
    fault = "data/2024/alder_bench/plots.csv:3:block: the block is empty. Fill it in."
    page = index_page(study, [entry(study, status="failed", href="", faults=(fault,), verdicts=())])
    assert fault in page
    assert "Could not be rendered" in page
    assert "1 report: 0 up to date, 1 in need of mending." in page


def test_the_latest_season_comes_first_and_the_whole_study_before_all(study) -> None:
    page = index_page(
        study,
        [
            entry(study),
            entry(study, season=2025),
            entry(study, season=None, site=None, href="across/report.html"),
        ],
    )
    assert page.index("The whole study") < page.index("Season 2025") < page.index("Season 2024")


def test_texts_of_the_study_are_escaped(study) -> None:
    page = index_page(study.model_copy(update={"title": "<script>x</script>"}), [])
    assert "<script" not in page
