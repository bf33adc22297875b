"""What a data archive says about the data as a work: authors, licence, how to cite it."""

import re
from typing import Final

from pydantic import Field, field_validator

from trialkit.study.parts import Part

# Licences that data are often given under, by SPDX identifier (https://spdx.org/licenses/).
LICENCES: Final = {
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/",
    "CC-BY-4.0": "https://creativecommons.org/licenses/by/4.0/",
    "CC-BY-SA-4.0": "https://creativecommons.org/licenses/by-sa/4.0/",
    "CC-BY-NC-4.0": "https://creativecommons.org/licenses/by-nc/4.0/",
    "ODbL-1.0": "https://opendatacommons.org/licenses/odbl/1-0/",
    "ODC-By-1.0": "https://opendatacommons.org/licenses/by/1-0/",
    "PDDL-1.0": "https://opendatacommons.org/licenses/pddl/1-0/",
}
_ORCID: Final = re.compile(r"(?:https?://orcid\.org/)?((?:\d{4}-){3}\d{3}[\dX])")
_DOI: Final = re.compile(r"(?:https?://(?:dx\.)?doi\.org/|doi:)?(10\.\d{4,9}/\S+)", re.IGNORECASE)


class Author(Part):
    """Somebody who is named on purpose: "Family, Given" for a person, else the name of a body."""

    name: str = Field(min_length=2)
    affiliation: str = ""
    orcid: str = ""

    @field_validator("orcid")
    @classmethod
    def _is_an_orcid(cls, text: str) -> str:
        found = _ORCID.fullmatch(text)
        if text and not (found and _has_its_check_digit(found[1])):
            raise ValueError("this is no ORCID iD; one looks like 0000-0002-1825-0097")
        return found[1] if found else ""

    @property
    def family(self) -> str:
        """Family name of a person, or nothing."""
        return self.name.partition(",")[0].strip() if "," in self.name else ""

    @property
    def given(self) -> str:
        """Given names of a person, or nothing."""
        return self.name.partition(",")[2].strip()

    @property
    def full_name(self) -> str:
        """The name as it is spoken."""
        return f"{self.given} {self.family}".strip() if self.family else self.name


class Archive(Part):
    """What else a repository asks for; all of it may stay empty."""

    keywords: tuple[str, ...] = ()
    doi: str = ""
    funding: str = ""

    @field_validator("doi")
    @classmethod
    def _is_a_doi(cls, text: str) -> str:
        found = _DOI.fullmatch(text)
        if text and not found:
            raise ValueError("this is no DOI; one looks like 10.5281/zenodo.1234567")
        return found[1] if found else ""


def licence_id(licence: str) -> str:
    """Return the identifier of a licence as it is spelt officially, or nothing.

    >>> licence_id("cc-by-4.0")
    'CC-BY-4.0'
    """
    known = {name.casefold(): name for name in LICENCES}
    return known.get(licence.casefold(), "")


def licence_address(licence: str) -> str:
    """Return where a licence can be read: its own address, or that of a known identifier.

    >>> licence_address("CC0-1.0")
    'https://creativecommons.org/publicdomain/zero/1.0/'
    >>> licence_address("ask me first")
    ''
    """
    plain = re.fullmatch(r"https?://[^\s<>\"\\]+", licence)
    return licence if plain else LICENCES.get(licence_id(licence), "")


def _has_its_check_digit(orcid: str) -> bool:
    """ISO 7064 MOD 11-2, as https://support.orcid.org describes it."""
    total = 0
    for digit in orcid.replace("-", "")[:-1]:
        total = (total + int(digit)) * 2
    check = (12 - total % 11) % 11
    return orcid[-1] == ("X" if check == 10 else str(check))
