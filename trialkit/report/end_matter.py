"""Methods and provenance."""

from collections.abc import Sequence
from importlib.metadata import version
from platform import python_version
from typing import Final

from trialkit import __version__
from trialkit.findings import MEANING, Findings
from trialkit.intake import FileRecord
from trialkit.narrative.tables import Column, Table, Words
from trialkit.report.display import Fold, Stack, bullets
from trialkit.study import Study

LIBRARIES: Final = ("numpy", "pandas", "scipy", "statsmodels", "pingouin")


def methods(study: Study, findings: Findings) -> tuple[Words | Fold, ...]:
    """How each measure was analysed and what the verdicts mean, in words fit to print."""
    by_method: dict[str, list[str]] = {}
    for name, analysis in findings.analyses.items():
        by_method.setdefault(analysis.model.method, []).append(study.measure(name).name)
    lines = [f"{_listed(names, findings)}: {method}" for method, names in by_method.items()]
    by_note: dict[str, list[str]] = {}
    for name, analysis in findings.analyses.items():
        for note in analysis.notes:
            by_note.setdefault(note, []).append(study.measure(name).name)
    notes = [f"{_listed(names, findings)}: {note}" for note, names in by_note.items()]
    verdicts = [f"**{word}**: {meaning}." for word, meaning in MEANING.items()]
    told = Words(
        f"### What the verdicts mean\n\n{bullets(verdicts)}\n\n"
        f"### How the numbers were made\n\n{bullets(lines)}"
    )
    if not notes:
        return (told,)
    return (told, Fold(f"Notes on the analyses ({len(notes)})", (Words(bullets(notes)),)))


def _listed(names: list[str], findings: Findings) -> str:
    return "Every measure" if len(names) == len(findings.analyses) > 1 else ", ".join(names)


def provenance(study: Study, files: Sequence[FileRecord]) -> tuple[Words, Fold, Fold]:
    """Files with checksums, and the versions of what computed the report, folded away."""
    file_rows = [(record.path, f"{record.rows:,}", record.sha256) for record in files]
    heads = [Column("File"), Column("Rows", numeric=True), Column("SHA-256")]
    used = [(name, version(name)) for name in LIBRARIES]
    own = ("trialkit", __version__)
    versions = [own, ("Python", python_version()), *used, ("Seed of the study", str(study.seed))]
    files_table = Table.of("Files read", heads, file_rows)
    versions_table = Table.of("Versions", [Column("Program"), Column("Version")], versions)
    return (
        Words("### Where the numbers come from"),
        Fold(f"Files read, with checksums ({len(files)})", (files_table,)),
        Fold("Versions of the programs, and the seed", (versions_table,)),
    )


def end_matter(study: Study, findings: Findings, files: Sequence[FileRecord]) -> Stack:
    """Methods, then provenance."""
    return Stack((*methods(study, findings), *provenance(study, files)))
