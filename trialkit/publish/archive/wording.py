"""The texts of an archive for people: README, licence, citation, versions."""

import json
import re
from collections.abc import Iterator, Mapping
from typing import Final

from trialkit.publish.archive.contents import (
    CHECKSUMS,
    CITATION,
    DATA_PACKAGE,
    DICTIONARY,
    FINDINGS_CHECKSUMS,
    LICENCE,
    README,
    REPORTS,
    SOFTWARE,
    STUDY,
    TABLES,
    VERSIONS,
    Deposit,
)
from trialkit.study import Author, Study, licence_address, licence_id

_NOT_IN_YAML: Final = re.compile("[\x7f-\x9f\ufeff\ufffe\uffff]")
_NOT_LIBRARIES: Final = ("python", "trialkit")
_PRIVATE: Final = """\
**This archive is private.** It names cooperators, observers, farms and places as the field sheets
do. Keep it where only those may read it who may know them. Without `--private`, trialkit writes an
archive to hand on."""
_CODED: Final = """\
Cooperating farms stand under codes such as `farm_k7qmx`. Their names, cooperators, observers, notes
and positions are not in this archive. Who keeps the study holds the key to the codes."""


def texts_of(deposit: Deposit) -> dict[str, str]:
    """Return the texts of an archive by the names of their files."""
    return {
        README: readme(deposit),
        LICENCE: licence_text(deposit.study),
        CITATION: citation(deposit),
        VERSIONS: requirements(deposit.versions),
    }


def plain(text: str) -> str:
    """Return a text for Markdown that nothing in it can turn into markup.

    >>> plain("Beetles <b>down</b> | [here](x)")
    'Beetles &lt;b&gt;down&lt;/b&gt; \\\\| \\\\[here\\\\](x)'
    """
    one_line = " ".join(text.split())
    escaped = one_line.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return re.sub(r"([\\`*|\[\]#])", r"\\\1", escaped)


def readme(deposit: Deposit) -> str:
    """Return README.md: what the archive is, and how to make its reports again."""
    study = deposit.study
    parts = [
        f"# {plain(deposit.title)}",
        plain(deposit.summary),
        f"Archived on {deposit.made.isoformat()} by trialkit {deposit.versions['trialkit']}.",
        _PRIVATE if deposit.private else _CODED,
        *_what_is_amiss(deposit),
        _what_is_here(deposit.private),
        _without_trialkit(),
        _again(deposit),
        _rights(study),
    ]
    return "\n\n".join(parts) + "\n"


def _what_is_amiss(deposit: Deposit) -> Iterator[str]:
    if deposit.missing:
        listed = "\n".join(f"- {plain(title)}" for title in deposit.missing)
        yield f"These reports could not be made from the data and are not here:\n\n{listed}"
    if deposit.errors:
        many = "1 error" if deposit.errors == 1 else f"{deposit.errors} errors"
        yield (
            f"The field sheets hold {many}. What an error touches is left out of the tables and "
            f"the reports; `{TABLES}/problems.csv` tells of each."
        )


def _what_is_here(private: bool) -> str:
    sheets = "as handed in" if private else "as plain tables, names coded"
    rows = {
        DICTIONARY: "every table and column in plain words; begin here",
        f"{TABLES}/": "the data as tidy tables: one row an observation, SI units, UTF-8 CSV",
        f"{STUDY}/": f"the field sheets {sheets}; plan, costs, corrections, texts of the reports",
        f"{REPORTS}/": "the reports: pages, executed notebooks, findings; open its `index.html`",
        f"{SOFTWARE}/": "the program that made the tables and reports",
        DATA_PACKAGE: "the same for programs: a Data Package with Table Schema",
        "ro-crate-metadata.json": "the same for repositories: RO-Crate 1.1",
        LICENCE: "what others may do with the data",
        CITATION: "how to cite the data",
        VERSIONS: "versions of the software that made the reports",
        FINDINGS_CHECKSUMS: "checksums that findings made again must have",
        CHECKSUMS: "checksums of all files; `sha256sum -c` checks them",
    }
    listed = "\n".join(f"| `{name}` | {about} |" for name, about in rows.items())
    return f"## What is here\n\n| file or folder | what |\n| --- | --- |\n{listed}"


def _without_trialkit() -> str:
    return f"""\
## Use the data without trialkit

Everything in `{TABLES}/` opens in any spreadsheet or statistics program. An empty cell is a missing
value; a zero is a zero. `season`, `site` and `plot` tie the tables together. A plot with a reason
under `lost` was lost; rows that an error kept out are listed in `{TABLES}/left_out.csv` where there
are any."""


def _again(deposit: Deposit) -> str:
    python = ".".join(deposit.versions["python"].split(".")[:2])
    version = deposit.versions["trialkit"]
    return f"""\
## Make the reports again

You need Python {python} and the internet: pip fetches the libraries. trialkit {version} is in
`{SOFTWARE}/`. In this folder:

```sh
python{python} -m venv .venv
.venv/bin/python -m pip install {SOFTWARE}/trialkit-{version}-py3-none-any.whl -c {VERSIONS}
.venv/bin/trialkit render {STUDY} --out again
(cd again && sha256sum -c ../{FINDINGS_CHECKSUMS})
```

The last command says whether every finding came out the same to the last digit. Other versions of
the libraries, or another kind of processor, can move last digits without changing a finding."""


def _rights(study: Study) -> str:
    given = licence_id(study.licence) or study.licence
    said = plain(given) or "none is stated; ask the authors before you use the data"
    names = "; ".join(plain(author.full_name) for author in study.authors)
    return f"""\
## Licence and citation

Licence of the data: {said}. See `{LICENCE}`.

Authors: {names or "not stated"}. See `{CITATION}`."""


def licence_text(study: Study) -> str:
    """Return LICENSE.txt: a reference to the licence, and where its text stands."""
    software = "The software trialkit, which made the reports, is under the MIT licence."
    if not study.licence:
        return (
            "No licence is stated for these data. All rights stay with the authors; ask them "
            f"before you use the data.\n\n{software}\n"
        )
    address = licence_address(study.licence)
    where = f"Its text stands at {address}" if address else "Ask the authors for its text."
    given = "The data, texts and reports in this archive are given under this licence:"
    name = licence_id(study.licence) or " ".join(study.licence.split())
    return f"{given}\n\n    {name}\n\n{where}\n\n{software}\n"


def citation(deposit: Deposit) -> str:
    """Return CITATION.cff (Citation File Format 1.2.0); texts are quoted as JSON, which YAML is."""
    study = deposit.study
    lines = [
        "cff-version: 1.2.0",
        f"message: {_quoted('If you use these data, please cite them as below.')}",
        "type: dataset",
        f"title: {_quoted(deposit.title)}",
        f"abstract: {_quoted(deposit.summary)}",
        "authors:",
        *(line for author in study.authors for line in _author(author)),
        *(() if study.authors else (f"  - name: {_quoted('Authors not stated')}",)),
        f"version: {_quoted(deposit.made.isoformat())}",
        f"date-released: {_quoted(deposit.made.isoformat())}",
    ]
    if study.archive.doi:
        lines.append(f"doi: {_quoted(study.archive.doi)}")
    lines += _licence_lines(study.licence)
    keywords = dict.fromkeys([study.crop, *study.archive.keywords])
    lines += ["keywords:", *(f"  - {_quoted(word)}" for word in keywords if word)]
    if study.citation:
        lines += ["references:", "  - type: generic", f"    title: {_quoted(study.citation)}"]
        lines += ["    authors:", f"      - name: {_quoted('see the title')}"]
    return "\n".join(lines) + "\n"


def _author(author: Author) -> Iterator[str]:
    if author.family:
        yield f"  - family-names: {_quoted(author.family)}"
        if author.given:
            yield f"    given-names: {_quoted(author.given)}"
    else:
        yield f"  - name: {_quoted(author.name)}"
    if author.affiliation and author.family:
        yield f"    affiliation: {_quoted(author.affiliation)}"
    if author.orcid:
        yield f"    orcid: {_quoted(f'https://orcid.org/{author.orcid}')}"


def _licence_lines(licence: str) -> list[str]:
    """An identifier is a licence; an address is a link to one; other words are neither."""
    if known := licence_id(licence):
        return [f"license: {_quoted(known)}"]
    address = licence_address(licence)
    return [f"license-url: {_quoted(address)}"] if address else []


def _quoted(text: str) -> str:
    """A text in the double quotes of YAML, which spells out what it does not take as it is."""
    told = json.dumps(" ".join(text.split()), ensure_ascii=False)
    return _NOT_IN_YAML.sub(lambda found: f"\\u{ord(found[0]):04x}", told)


def requirements(versions: Mapping[str, str]) -> str:
    """Return the libraries that can move a number, pinned to the versions that made the reports."""
    pins = [f"{name}=={v}" for name, v in versions.items() if name not in _NOT_LIBRARIES]
    head = f"# trialkit {versions['trialkit']} on Python {versions['python']} made the reports.\n"
    return head + "\n".join(sorted(pins)) + "\n"
