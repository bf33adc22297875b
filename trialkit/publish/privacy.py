"""Who is named in what is handed out: codes for farms, and texts with the names taken out.

Codes come from a secret that stands in the study folder (``private/codes.json``), so that they
stay the same and nobody can work them out from a name.
"""

import base64
import hashlib
import hmac
import html
import json
import re
import secrets
import struct
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from trialkit.errors import TrialkitError
from trialkit.study import Study

PRIVATE: Final = "private"
CODES: Final = "codes.json"
_LETTERS: Final = "abcdefghjkmnpqrstuvwxyz23456789"
_LENGTH: Final = 5
_PICTURES: Final = re.compile(r"data:image/[a-z+]+;base64,([A-Za-z0-9+/=]+)")


@dataclass(frozen=True)
class Names:
    """Private names, each with what stands in its place; longer names go first.

    ``ids`` are the ids of sites, which become codes where they are written just so.
    """

    said: Mapping[str, str]
    ids: Mapping[str, str] = field(default_factory=dict)

    def taken_out(self, text: str) -> str:
        """Return ``text`` with every private name replaced, however it is spaced or capitalised.

        >>> Names({"North Field": "Farm k7qmx"}).taken_out("At north-field, it rained.")
        'At Farm k7qmx, it rained.'
        """
        for site, code in self.ids.items():
            text = re.sub(rf"\b{re.escape(site)}\b", code, text)
        for name in sorted(self.said, key=lambda name: (-len(name), name)):
            text = _pattern(name).sub(self.said[name], text)
        return text

    def found_in(self, data: bytes) -> str:
        """Return the first private name that a finished file still holds, or nothing.

        Looks into the text as a browser reads it, and into what every picture tells of itself.
        """
        text = html.unescape(data.decode("utf-8", errors="replace"))
        pictures = [told_by_png(base64.b64decode(one)) for one in _PICTURES.findall(text)]
        page = unicodedata.normalize("NFC", "\n".join([_PICTURES.sub("", text), *pictures]))
        return next((name for name in (*self.said, *self.ids) if _pattern(name).search(page)), "")


def told_by_png(image: bytes) -> str:
    """Everything in a PNG file but its pixels, as text: titles, software, dates, whatever it says.

    Raises TrialkitError for a picture that packs its texts, for they could not be looked through.
    """
    place, told = 8, []
    while place + 8 <= len(image):
        length, kind = struct.unpack(">I4s", image[place : place + 8])
        if kind in (b"zTXt", b"iTXt", b"eXIf"):
            raise TrialkitError("A figure carries packed text, so nothing was handed out.")
        if kind != b"IDAT":
            told.append(image[place + 8 : place + 8 + length].decode("latin-1"))
        place += length + 12
    return "\n".join(told)


def _pattern(name: str) -> re.Pattern[str]:
    words = re.findall(r"\w+", unicodedata.normalize("NFC", name).replace("_", " "))
    between = r"[\W_]{0,3}"
    return re.compile(rf"(?<![^\W_]){between.join(map(re.escape, words))}(?![^\W_])", re.IGNORECASE)


def farms(study: Study) -> tuple[str, ...]:
    """Ids of the sites that are cooperating farms."""
    return tuple(site.id for site in study.sites if site.kind == "farm" or site.cooperator)


def cooperators(study: Study) -> dict[str, tuple[str, ...]]:
    """Farms of each cooperator under the id of the first; a farm without a name is its own."""
    owned: dict[str, list[str]] = {}
    for farm in farms(study):
        owned.setdefault(study.site(farm).cooperator.casefold() or farm, []).append(farm)
    return {ids[0]: tuple(ids) for ids in owned.values()}


def codes_of(study: Study) -> dict[str, str]:
    """Return the code of every farm, such as ``farm_k7qmx``; makes the secret when there is none.

    The code is the start of HMAC-SHA-256 of the site's id under the secret. Raises TrialkitError
    when the file with the secret cannot be read.
    """
    secret = _secret(study.folder / PRIVATE)
    found = {farm: _code(secret, farm) for farm in farms(study)}
    if len(set(found.values())) < len(found):
        raise TrialkitError(
            f"Two farms drew the same code. Delete {PRIVATE}/{CODES} to draw new codes for all."
        )
    return found


def _code(secret: str, farm: str) -> str:
    digest = hmac.new(bytes.fromhex(secret), farm.encode(), hashlib.sha256).digest()
    number = int.from_bytes(digest[:8], "big")
    letters = []
    for _ in range(_LENGTH):
        number, place = divmod(number, len(_LETTERS))
        letters.append(_LETTERS[place])
    return f"farm_{''.join(letters)}"


def _secret(folder: Path) -> str:
    path = folder / CODES
    if not path.is_file():
        folder.mkdir(exist_ok=True)
        # Whatever lies in this folder stays out of version control, this file included.
        (folder / ".gitignore").write_text("*\n", encoding="utf-8")
        path.touch(mode=0o600)
        path.write_text(json.dumps({"secret": secrets.token_hex(32)}), encoding="utf-8")
    try:
        return str(bytes.fromhex(json.loads(path.read_text(encoding="utf-8"))["secret"]).hex())
    except (ValueError, KeyError, TypeError):
        raise TrialkitError(
            f"{path}::: this is not the file with the secret of the codes. Bring it back from a "
            "copy, or delete it to draw new codes."
        ) from None


def names_to_take_out(study: Study, named: Iterable[str], people: Iterable[str]) -> Names:
    """Return what an edition must not say: farms not ``named``, cooperators, positions, people.

    ``named`` are the ids of sites that keep their names; ``people`` are others whom the data name.
    People's names go everywhere; positions too, unless every site is named.
    """
    codes, kept = codes_of(study), set(named)
    positions = kept < {site.id for site in study.sites}
    coded = [site for site in study.sites if site.id in codes and site.id not in kept]
    said = dict.fromkeys(people, "somebody")
    said |= {site.cooperator: "a cooperator" for site in study.sites}
    said |= {site.position: "a place" for site in study.sites if positions}
    said |= {site.name: spoken(codes[site.id]) for site in coded}
    return Names(
        {name: word for name, word in said.items() if _says_something(name)},
        {site.id: codes[site.id] for site in coded},
    )


def _says_something(name: str) -> bool:
    """Initials and empty fields name nobody, and would be found in every other word."""
    return len(re.sub(r"[\W_]", "", name)) >= 3


def spoken(code: str) -> str:
    """A code as a page says it.

    >>> spoken("farm_k7qmx")
    'Farm k7qmx'
    """
    return code.replace("_", " ").capitalize()
