"""What study.toml says for the archive: authors, licence, DOI."""

import pytest
from pydantic import ValidationError

from trialkit.study import Archive, Author, licence_address, licence_id


@pytest.mark.parametrize(
    ("name", "family", "given", "full"),
    [
        ("Testwell, Ada", "Testwell", "Ada", "Ada Testwell"),
        ("van der Test, Ada B.", "van der Test", "Ada B.", "Ada B. van der Test"),
        ("Testing Institute", "", "", "Testing Institute"),
        ("Testwell,", "Testwell", "", "Testwell"),
    ],
)
def test_a_comma_tells_a_person_from_an_institution(name, family, given, full) -> None:
    author = Author(name=name)
    assert (author.family, author.given, author.full_name) == (family, given, full)


# 0000-0002-1825-0097 and 0000-0001-5109-3700 are the examples of ORCID's own documentation.
@pytest.mark.parametrize("orcid", ["0000-0002-1825-0097", "https://orcid.org/0000-0001-5109-3700"])
def test_an_orcid_is_kept_bare(orcid) -> None:
    assert Author(name="Testwell, Ada", orcid=orcid).orcid == orcid[-19:]


@pytest.mark.parametrize("orcid", ["0000-0002-1825-0098", "ada", "0000-0002-1825-009", "00-X"])
def test_a_mistyped_orcid_is_told(orcid) -> None:
    with pytest.raises(ValidationError, match="no ORCID iD"):
        Author(name="Testwell, Ada", orcid=orcid)


@pytest.mark.parametrize(
    "doi", ["10.5281/zenodo.1234567", "https://doi.org/10.5281/zenodo.1234567", "doi:10.5281/x"]
)
def test_a_doi_is_kept_bare(doi) -> None:
    assert Archive(doi=doi).doi.startswith("10.5281/")


def test_what_is_no_doi_is_told() -> None:
    with pytest.raises(ValidationError, match="no DOI"):
        Archive(doi="zenodo 1234567")


def test_a_known_licence_is_spelt_officially_and_has_an_address() -> None:
    assert licence_id("cc-by-4.0") == "CC-BY-4.0"
    assert licence_address("cc-by-4.0") == "https://creativecommons.org/licenses/by/4.0/"


@pytest.mark.parametrize("licence", ["ask me", "javascript:alert(1)", 'https://x.org/"><script>'])
def test_other_words_have_no_address(licence) -> None:
    assert licence_id(licence) == ""
    assert licence_address(licence) == ""
