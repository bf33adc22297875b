"""A last look through every file of an archive for what it must not say."""

import base64
import binascii
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from trialkit.errors import Fault, StudyError
from trialkit.publish.archive.contents import SOFTWARE, files_in
from trialkit.publish.privacy import Names, told_by_png

_PNG: Final = b"\x89PNG\r\n\x1a\n"
_ADDRESS: Final = re.compile(r"[\w.+-]+@[\w-]+(?:\.[\w-]+)*\.[a-z]{2,}", re.IGNORECASE)


def require_nothing_private(folder: Path, names: Names) -> None:
    """Raise StudyError with every file that says a private name or an e-mail address.

    The software is the same for every study and holds nothing of this one; the names of its many
    sources would be taken for people of the study.
    """
    mine = [name for name in files_in(folder) if not name.startswith(f"{SOFTWARE}/")]
    faults = [fault for name in mine if (fault := _leak(folder, name, names))]
    if faults:
        raise StudyError(tuple(faults))


def require_no_place(folder: Path, place: str) -> None:
    """Raise StudyError with every file that names the folder in which the archive was made."""
    faults = [
        Fault(
            name,
            what="the file names a folder of this computer, so nothing was archived",
            remedy="Take the folder's name out of the study's texts",
            code="private",
        )
        for name in files_in(folder)
        if place.encode() in (folder / name).read_bytes()
    ]
    if faults:
        raise StudyError(tuple(faults))


def _leak(folder: Path, name: str, names: Names) -> Fault | None:
    said = "\n".join([name, *texts_in((folder / name).read_bytes(), name)])
    found = names.found_in(said.encode())
    address = _ADDRESS.search(said)
    if not found and not address:
        return None
    what = f"the name '{found}'" if found else f"the e-mail address {address[0]}"  # type: ignore[index]
    return Fault(
        name,
        what=f"the file still says {what}, which is private, so nothing was archived",
        remedy="Take it out of the study's texts or the narrative, or archive with --private",
        code="private",
    )


def texts_in(data: bytes, name: str) -> Iterator[str]:
    """Every text that a file holds: as written, what JSON spells, what pictures tell of themselves.

    Raises TrialkitError for a picture that packs its texts, for they could not be looked through.
    """
    if data.startswith(_PNG):
        yield told_by_png(data)
        return
    text = data.decode("utf-8", errors="replace")
    if not name.endswith((".json", ".ipynb")):
        yield text
        return
    for one in _strings(json.loads(text)):
        picture = _picture(one)
        yield told_by_png(picture) if picture else one


def _strings(content: Any) -> Iterator[str]:
    if isinstance(content, str):
        yield content
    elif isinstance(content, list):
        # A notebook may keep a text as a list of its lines; a name can run over their ends.
        if content and all(isinstance(one, str) for one in content):
            yield "".join(content)
        for one in content:
            yield from _strings(one)
    elif isinstance(content, dict):
        for key, one in content.items():
            yield key
            yield from _strings(one)


def _picture(text: str) -> bytes:
    """The PNG that a text spells in base 64, or nothing."""
    if not text.startswith("iVBORw0KGgo"):
        return b""
    try:
        return base64.b64decode(text)
    except (binascii.Error, ValueError):
        return b""
