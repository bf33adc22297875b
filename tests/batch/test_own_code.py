"""Code that does something else makes reports due; a comment or a docstring does not."""

import subprocess
import sys
from pathlib import Path

import pytest

from trialkit.batch.own_code import KNOWN, meaning_of, own_code

CODE = '''"""A room."""

LIMITS = {"low", "high"}  # both ends


def judge(value: float, level: float = 0.95) -> str:
    """Say it."""
    if value in LIMITS:
        raise ValueError("no")
    return [f"{each:.2f}" for each in (value, level)][0]
'''
SAME = {
    "another comment": ("  # both ends", "  # the ends\n# of all\n"),
    "another docstring": ('"""Say it."""', '"""Tell how it stands, in words."""'),
    "lines moved": ("\n\ndef", "\n\n\n\ndef"),
}
OTHER = {
    "a number": ("0.95", "0.9"),
    "a text": ('"no"', '"never"'),
    "a name": ("judge", "judged"),
    "one of a set": ('"high"', '"higher"'),
    "a format": (".2f", ".3f"),
    "a branch": ("in LIMITS", "not in LIMITS"),
    "an index": ("[0]", "[1]"),
    "a type of number": ("[0]", "[False]"),
    "a line more": ("    if value", "    value += 1\n    if value"),
}


@pytest.mark.parametrize("change", SAME)
def test_words_about_code_are_not_what_it_does(change: str) -> None:
    old, new = SAME[change]
    assert old in CODE
    assert meaning_of(CODE.replace(old, new).encode()) == meaning_of(CODE.encode())


@pytest.mark.parametrize("change", OTHER)
def test_every_change_of_what_code_does_is_seen(change: str) -> None:
    old, new = OTHER[change]
    assert old in CODE
    assert meaning_of(CODE.replace(old, new).encode()) != meaning_of(CODE.encode())


def test_code_means_the_same_in_every_process() -> None:
    told = (
        "import sys\nfrom trialkit.batch.own_code import meaning_of\n"
        "print(meaning_of(sys.argv[1].encode()))"
    )
    run = subprocess.run([sys.executable, "-c", told, CODE], capture_output=True, text=True)
    assert run.stdout.strip() == meaning_of(CODE.encode())


def package(folder: Path) -> Path:
    for name, text in (
        ("report/words.py", CODE),
        ("cli/app.py", CODE),
        ("publish/page.css", "p {}"),
    ):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    return folder


def test_files_count_by_what_they_do_and_the_command_line_does_not(tmp_path: Path) -> None:
    here = package(tmp_path / "package")
    before = own_code(package=here).meaning
    (here / "cli/app.py").write_text("print('other')")
    (here / "report/words.py").write_text(f"# moved\n{CODE}")
    assert own_code(package=here).meaning == before
    (here / "publish/page.css").write_text("p { color: red }")
    assert own_code(package=here).meaning != before


def test_what_was_found_is_kept_only_while_the_bytes_are_the_same(tmp_path: Path) -> None:
    here = package(tmp_path / "package")
    found = own_code(package=here)
    (tmp_path / KNOWN).write_bytes(found.to_bytes().replace(found.meaning.encode(), b"kept"))
    assert own_code(tmp_path, here).meaning == "kept"
    (here / "report/words.py").write_text(f"# moved\n{CODE}")
    assert own_code(tmp_path, here).meaning == found.meaning
