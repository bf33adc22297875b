"""Whatever stands in study.toml, every file of an archive stays what it should be."""

import datetime as dt
import json

import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.publish.archive import Deposit
from trialkit.publish.archive.crate import crate
from trialkit.publish.archive.data_package import data_package
from trialkit.publish.archive.dictionary import dictionary_page
from trialkit.publish.archive.wording import citation, licence_text, readme
from trialkit.study import Study

NASTY = (
    *("<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "a: b # c", "- x\n- y"),
    *("{{ 7*7 }}", "=cmd|' /C calc'!A0", "../../etc/passwd", "\u202egnp.exe", "null", "yes"),
    *("1e5", "'", '"', "\\", "%s", "${HOME}", "`id`", "]](x)", "\x85", "\x90", "\x7f", "\u2028"),
    *("\ufeff", "\uffff", "e\u0301", "\U0001f4a7"),
)
words = st.one_of(st.sampled_from(NASTY), st.text(st.characters(blacklist_categories=["Cs"])))
some = words.map(str.strip).filter(lambda text: len(text) > 1)
authors = st.lists(st.fixed_dictionaries({"name": some, "affiliation": words}), max_size=3)


@settings(max_examples=60, deadline=None)
@given(
    title=words, summary=words, licence=words, cited=words, keywords=st.lists(words), who=authors
)
def test_nothing_typed_changes_what_a_file_is(
    example_study, title, summary, licence, cited, keywords, who
) -> None:
    told = {"title": title, "summary": summary, "licence": licence, "citation": cited}
    told |= {"authors": who, "archive": {"keywords": keywords}}
    study = Study.model_validate({**example_study.model_dump(), **told})
    versions = {"python": "3.11.7", "trialkit": "0.1.0"}
    deposit = Deposit(study, "x", dt.date(2026, 11, 5), False, versions)
    found = yaml.safe_load(citation(deposit))
    assert found["title"] == " ".join(deposit.title.split())
    assert len(found["authors"]) == max(len(study.authors), 1)
    assert set(found) <= {
        *("cff-version", "message", "type", "title", "abstract", "authors", "version", "doi"),
        *("date-released", "license", "license-url", "keywords", "references"),
    }
    ids = [one["@id"] for one in json.loads(json.dumps(crate(deposit, ())))["@graph"]]
    assert len(ids) == len(set(ids))
    assert data_package(deposit, ())["title"] == deposit.title
    assert readme(deposit).count("\n## ") == 4
    assert "<script" not in readme(deposit) + dictionary_page(deposit, ())
    assert licence_text(study).endswith("MIT licence.\n")
