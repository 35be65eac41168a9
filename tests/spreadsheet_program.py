"""A real spreadsheet, the one that Debian ships, under the number rules of a country."""

import csv
import os
import subprocess
import xml.etree.ElementTree as ElementTree
from itertools import zip_longest
from pathlib import Path

from debian import first, programs

_RULES = Path("/usr/share/i18n/locales")
_FORMULAS = Path(__file__).parent / "examples" / "look_up.formulas"
_OFFICE, _TABLE, _TEXT = (f"{{urn:oasis:names:tc:opendocument:xmlns:{n}:1.0}}" for n in ("office", "table", "text"))
#: What its reader of CSV is told: separator, quote, UTF-8, from the first row, the country's numbers, formulas run.
_READ = "CSV:{},34,76,1,,,false,true,false,false,false,0,true,false,true"


def _found():
    return first("soffice"), first("localedef"), (_RULES / "de_DE").exists()


def opened(files, country, folder):
    """What it shows of the first sheet of each file, by name: rows of numbers, texts, and None where nothing stands.

    ``country`` is such as "de_DE". CSV files in it are taken to part their cells as the first of them does.
    """
    packages = ("libreoffice-calc-nogui", "locales")
    program, make, _ = programs(_found, packages, "written tables are opened in a real spreadsheet")
    if not (folder / f"{country}.UTF-8").exists():
        subprocess.run([make, "-i", country, "-f", "UTF-8", folder / f"{country}.UTF-8"], check=True)
    rules = {"LOCPATH": str(folder), "LC_ALL": f"{country}.UTF-8", "HOME": str(folder)}
    words = [program, f"-env:UserInstallation=file://{folder}/profile-{country}", "--headless", "--convert-to", "fods"]
    if files[0].suffix == ".csv":
        separator = ";" if ";" in files[0].read_text(encoding="utf-8").partition("\n")[0] else ","
        words.append("--infilter=" + _READ.format(ord(separator)))
    shown = folder / f"shown-{country}"
    subprocess.run([*words, "--outdir", shown, *files], env={**os.environ, **rules}, capture_output=True, check=True)
    return {each.name: _rows(shown / f"{each.stem}.fods") for each in files}


def _rows(file):
    table = next(ElementTree.parse(file).iter(f"{_TABLE}table"))
    rows = []
    for row in table.iter(f"{_TABLE}table-row"):
        cells = []
        for cell in row.iter(f"{_TABLE}table-cell"):
            number, text = cell.get(f"{_OFFICE}value"), cell.find(f"{_TEXT}p")
            value = float(number) if number else None if text is None else "".join(text.itertext())
            cells += [value] * min(int(cell.get(f"{_TABLE}number-columns-repeated", 1)), 100)
        rows += [cells] * min(int(row.get(f"{_TABLE}number-rows-repeated", 1)), 100)
    while rows and not any(value is not None for value in rows[-1]):
        rows.pop()
    return rows


def with_formulas(table, file, states):
    """A written part table with the formulas of the example beside it, for these states of degrees Celsius and Hz."""
    formulas = [line for line in _FORMULAS.read_text(encoding="utf-8").splitlines() if line.startswith("=")]
    text = table.read_text(encoding="utf-8")
    comma = ";" in text.partition("\n")[0]
    separator = ";" if comma else ","
    rows = list(csv.reader(text.splitlines(), delimiter=separator))
    with file.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, delimiter=separator)
        for number, (row, state) in enumerate(zip_longest(rows, states), 1):
            asked = [str(each).replace(".", ",") if comma else str(each) for each in state or ()]
            written = [each.replace(",", separator).replace("#", str(number)) for each in formulas if state]
            writer.writerow([*row, "", *asked, *written])
    return file
