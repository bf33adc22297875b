"""ro-crate-metadata.json: the archive as a research object.

RO-Crate 1.1: https://w3id.org/ro/crate/1.1
"""

from collections.abc import Iterable, Iterator
from typing import Any, Final
from urllib.parse import quote

from trialkit.publish.archive.contents import (
    CRATE,
    LICENCE,
    REPORTS,
    SOFTWARE,
    STUDY,
    TABLES,
    Deposit,
    Member,
)
from trialkit.publish.archive.declared import si_unit
from trialkit.study import Author, Study, licence_address, licence_id

Entity = dict[str, Any]
CONTEXT: Final = "https://w3id.org/ro/crate/1.1/context"
# The context of version 1.1 is older than this term of schema.org.
_OWN_TERMS: Final = {"sha256": "http://schema.org/sha256"}
PROFILE: Final = "https://w3id.org/ro/crate/1.1"
_FOLDERS: Final = {
    f"{STUDY}/": ("The study", "Field sheets, description, costs, corrections and texts"),
    f"{TABLES}/": ("Tidy tables", "What was read of the field sheets, in SI units"),
    f"{REPORTS}/": ("Reports", "One report per site and season, and one across all of them"),
    f"{SOFTWARE}/": ("Software", "trialkit as it made the reports, to be installed with pip"),
}


def crate(deposit: Deposit, members: Iterable[Member]) -> Entity:
    """Return the metadata of the archive as one JSON-LD document."""
    files = [_file(member) for member in members]
    people = [_person(author, place) for place, author in enumerate(deposit.study.authors, 1)]
    graph = [
        _descriptor(),
        _root(deposit, people, files),
        *_folders(files),
        *files,
        *people,
        *_institutions(deposit.study),
        *_funders(deposit.study),
        _licence(deposit.study),
        *_software(deposit),
        _making(deposit, files),
        *_variables(deposit.study),
    ]
    return {
        "@context": [CONTEXT, _OWN_TERMS],
        "@graph": [_without_empty(entity) for entity in graph],
    }


def _ids(entities: Iterable[Entity]) -> list[Entity]:
    return [{"@id": entity["@id"]} for entity in entities]


def _without_empty(entity: Entity) -> Entity:
    """Leave out what is not known; a list of one is that one, as the specification advises."""
    told = {key: value for key, value in entity.items() if value not in ("", [], None)}
    one = {key: v[0] for key, v in told.items() if isinstance(v, list) and len(v) == 1}
    return {**told, **one}


def _descriptor() -> Entity:
    return {
        "@id": CRATE,
        "@type": "CreativeWork",
        "conformsTo": {"@id": PROFILE},
        "about": {"@id": "./"},
    }


def _root(deposit: Deposit, people: list[Entity], files: list[Entity]) -> Entity:
    study = deposit.study
    at_the_top = [one for one in files if "/" not in one["@id"]]
    return {
        "@id": "./",
        "@type": "Dataset",
        "name": deposit.title,
        "description": deposit.summary,
        "datePublished": deposit.made.isoformat(),
        "identifier": f"https://doi.org/{study.archive.doi}" if study.archive.doi else "",
        "license": {"@id": _licence(study)["@id"]},
        "author": _ids(people),
        "keywords": ", ".join([study.crop, *study.archive.keywords]),
        "citation": study.citation,
        "funder": {"@id": "#funder"} if study.archive.funding else "",
        "temporalCoverage": _period(study),
        "variableMeasured": _ids(_variables(study)),
        "hasPart": [*({"@id": folder} for folder in _FOLDERS), *_ids(at_the_top)],
    }


def _period(study: Study) -> str:
    first = min(season.first_date for season in study.seasons)
    last = max(season.last_date for season in study.seasons)
    return f"{first.isoformat()}/{last.isoformat()}"


def _folders(files: list[Entity]) -> Iterator[Entity]:
    for folder, (name, about) in _FOLDERS.items():
        inside = [one for one in files if one["@id"].startswith(folder)]
        yield {
            "@id": folder,
            "@type": "Dataset",
            "name": name,
            "description": about,
            "hasPart": _ids(inside),
        }


def _file(member: Member) -> Entity:
    return {
        "@id": quote(member.path),
        "@type": "File",
        "name": member.path.rpartition("/")[2],
        "description": member.about,
        "encodingFormat": member.media_type,
        "contentSize": str(member.size),
        "sha256": member.sha256,
    }


def _person(author: Author, place: int) -> Entity:
    return {
        "@id": f"https://orcid.org/{author.orcid}" if author.orcid else f"#author-{place}",
        "@type": "Person" if author.family else "Organization",
        "name": author.full_name,
        "familyName": author.family,
        "givenName": author.given,
        "affiliation": {"@id": _institution(author)} if author.affiliation else "",
    }


def _institution(author: Author) -> str:
    return f"#institution-{quote(author.affiliation, safe='')}"


def _institutions(study: Study) -> list[Entity]:
    named = {_institution(one): one.affiliation for one in study.authors if one.affiliation}
    return [{"@id": key, "@type": "Organization", "name": name} for key, name in named.items()]


def _funders(study: Study) -> list[Entity]:
    funder = study.archive.funding
    return [{"@id": "#funder", "@type": "Organization", "name": funder}] if funder else []


def _licence(study: Study) -> Entity:
    address = licence_address(study.licence)
    said = licence_id(study.licence) or study.licence
    return {
        "@id": address or "#licence",
        "@type": "CreativeWork",
        "name": said or "No licence is stated: ask the authors before using the data",
        "description": f"What others may do with the data; see {LICENCE}",
    }


def _software(deposit: Deposit) -> Iterator[Entity]:
    for name, version in deposit.versions.items():
        yield {
            "@id": _software_id(name),
            "@type": "SoftwareApplication",
            "name": name,
            "version": version,
            "url": "https://www.python.org/" if name == "python" else "",
        }


def _software_id(name: str) -> str:
    return "#trialkit" if name == "trialkit" else f"#software-{name}"


def _making(deposit: Deposit, files: list[Entity]) -> Entity:
    def below(folder: str) -> list[Entity]:
        return _ids(one for one in files if one["@id"].startswith(f"{folder}/"))

    return {
        "@id": "#making-of-the-reports",
        "@type": "CreateAction",
        "name": "Making of the tables and reports from the study",
        "endTime": deposit.made.isoformat(),
        "instrument": [{"@id": _software_id(name)} for name in deposit.versions],
        "object": below(STUDY),
        "result": [*below(TABLES), *below(REPORTS)],
    }


def _variables(study: Study) -> list[Entity]:
    return [
        {
            "@id": f"#measure-{one.id}",
            "@type": "PropertyValue",
            "name": one.name,
            "propertyID": one.id,
            "unitText": si_unit(one),
        }
        for one in study.measures
    ]
