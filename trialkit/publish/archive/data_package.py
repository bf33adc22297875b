"""datapackage.json: the archive as a Data Package with Table Schema.

Data Package and Tabular Data Resource: https://specs.frictionlessdata.io/ (version 1).
"""

import re
from collections import Counter
from collections.abc import Iterable
from typing import Any, Final

from trialkit.publish.archive.contents import LICENCE, Deposit, Member
from trialkit.publish.archive.fields import MISSING
from trialkit.study import Author, licence_address, licence_id

_DIALECT: Final = {"delimiter": ",", "lineTerminator": "\n", "quoteChar": '"', "header": True}


def data_package(deposit: Deposit, members: Iterable[Member]) -> dict[str, Any]:
    """Return the descriptor of the archive and of each of its files."""
    study = deposit.study
    told = {
        "profile": "data-package",
        "name": deposit.name,
        "id": f"https://doi.org/{study.archive.doi}" if study.archive.doi else "",
        "title": deposit.title,
        "description": deposit.summary,
        "created": f"{deposit.made.isoformat()}T00:00:00Z",
        "version": deposit.made.isoformat(),
        "licenses": [_licence(study.licence)] if study.licence else [],
        "contributors": [_contributor(author) for author in study.authors],
        "keywords": [study.crop, *study.archive.keywords],
        "sources": [{"title": study.citation}] if study.citation else [],
        "resources": _each_named_once([_resource(member) for member in members]),
    }
    return {key: value for key, value in told.items() if value}


def _each_named_once(resources: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Two paths that give one name get a number, for a name stands for one resource only."""
    seen: Counter[str] = Counter()
    for one in resources:
        seen[one["name"]] += 1
        if seen[one["name"]] > 1:
            one["name"] = f"{one['name']}-{seen[one['name']]}"
    return resources


def resource_name(path: str) -> str:
    """Return a resource's name: its path in small letters, digits and dashes.

    >>> resource_name("tables/fruit_sizes.csv")
    'tables/fruit_sizes.csv'
    >>> resource_name("study/data/2025/Bench é (1).xlsx")
    'study/data/2025/bench---1-.xlsx'
    """
    return re.sub(r"[^a-z0-9._/-]", "-", path.lower())


def _licence(licence: str) -> dict[str, str]:
    address = licence_address(licence)
    name = licence_id(licence)
    told = {"path": address or LICENCE, "title": name or licence}
    return {"name": name, **told} if name else told


def _contributor(author: Author) -> dict[str, str]:
    told = {
        "title": author.full_name,
        "role": "author",
        "organization": author.affiliation,
        "path": f"https://orcid.org/{author.orcid}" if author.orcid else "",
    }
    return {key: value for key, value in told.items() if value}


def _resource(member: Member) -> dict[str, Any]:
    told: dict[str, Any] = {
        "name": resource_name(member.path),
        "path": member.path,
        "title": member.path.rpartition("/")[2],
        "description": member.about,
        "mediatype": member.media_type,
        "bytes": member.size,
        "hash": f"sha256:{member.sha256}",
    }
    fields = member.table.fields if member.table else member.fields
    if not fields:
        # As typed by people: a file to keep, not a table to hold to a schema.
        return {**told, "profile": "data-resource", "type": "file"}
    keys = member.table.keys.to_schema() if member.table else {}
    for key in keys.get("foreignKeys", ()):
        key["reference"]["resource"] = resource_name(f"tables/{key['reference']['resource']}.csv")
    return {
        **told,
        "profile": "tabular-data-resource",
        "type": "table",
        "format": "csv",
        "encoding": "utf-8",
        "dialect": _DIALECT,
        "schema": {"fields": list(fields), "missingValues": list(MISSING), **keys},
    }
