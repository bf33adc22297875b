"""The tables of README.md that the program knows: python tests/readme_tables.py puts them in."""

import re
from pathlib import Path

from trialkit.intake import column_dictionary

README = Path(__file__).resolve().parent.parent / "README.md"
BEGIN, END = "<!-- columns: begin -->", "<!-- columns: end -->"


def dictionary() -> str:
    """Every column of every table as Markdown, one table of the README per data table."""
    parts = []
    for table, rows in column_dictionary().groupby("table", sort=False):
        lines = [f"**{table}**", "", "| column | what | must be filled |", "| --- | --- | --- |"]
        for row in rows.to_dict("records"):
            unit = f" ({row['unit']})" if row["unit"] else ""
            must = "yes" if row["required"] else ""
            lines.append(f"| {row['column']} | {row['meaning']}{unit} | {must} |")
        parts.append("\n".join(lines))
    return "\n\n".join(parts)


def with_dictionary(text: str) -> str:
    """README text with the dictionary as it is now."""
    block = f"{BEGIN}\n\n{dictionary()}\n\n{END}"
    return re.sub(f"{BEGIN}.*{END}", lambda _: block, text, flags=re.S)


if __name__ == "__main__":
    README.write_text(with_dictionary(README.read_text(encoding="utf-8")), encoding="utf-8")
