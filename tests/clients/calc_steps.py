"""Steps of a person in Calc, run by the Python of LibreOffice.

    python3 calc_steps.py PIPE '[["load", "squad.ods"], ["ask"], ["store", "out.ods"]]'

prints what each step gave, as JSON. It stands alone, for this Python has no package of ours.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path
from typing import Any

import uno
from com.sun.star.beans import PropertyValue
from com.sun.star.connection import NoConnectException
from com.sun.star.lang import Locale

MACRO = "vnd.sun.star.script:dawnrule_macro.py$ask_dawnrule?language=Python&location=user"
FILTERS = {".ods": "calc8", ".xlsx": "Calc MS Excel 2007 XML"}
FULL_UPDATE = 3  # com.sun.star.document.UpdateDocMode; without it no formula asks the network
ROOM = 1500  # hundredths of a millimetre, for the letters and numbers around the cells
START_SECONDS, PAUSE_SECONDS = 120, 0.1


class Person:
    """Somebody at Calc with at most one document open."""

    def __init__(self, context: Any) -> None:
        self.services = context.ServiceManager
        self.context = context
        self.document: Any = None

    def load(self, file: str, hidden: bool = False) -> None:
        """Open a file, in a window or in none."""
        desktop = self._service("com.sun.star.frame.Desktop")
        how = (_named("Hidden", hidden), _named("UpdateDocMode", FULL_UPDATE))
        self.document = desktop.loadComponentFromURL(Path(file).as_uri(), "_blank", 0, how)

    def store(self, file: str) -> None:
        """Save a copy, in the format of its name, and close the document."""
        how = (_named("FilterName", FILTERS[Path(file).suffix]),)
        self.document.storeToURL(Path(file).as_uri(), how)
        self.close()

    def close(self) -> None:
        """Close the document as it is."""
        self.document.close(True)

    def print_page(self, sheet: str, columns: list[str], file: str) -> None:
        """Print some columns of a sheet, by the names in its first row, on one page of their own
        size (PDF), and close the document."""
        for name in self.document.Sheets.ElementNames:
            self.document.Sheets.getByName(name).IsVisible = name == sheet
        cells = _used(self.document.Sheets.getByName(sheet))
        names = cells.getDataArray()[0]
        for place, name in enumerate(names):
            cells.Columns.getByIndex(place).IsVisible = name in columns
        shown = [cells.Columns.getByIndex(names.index(name)).Width for name in columns]
        styles = self.document.StyleFamilies.getByName("PageStyles")
        style = styles.getByName(self.document.Sheets.getByName(sheet).PageStyle)
        style.HeaderIsOn = style.FooterIsOn = False
        style.PrintGrid = style.PrintHeaders = True  # as it looks on the screen
        style.Width = sum(shown) + style.LeftMargin + style.RightMargin + ROOM
        style.Height = cells.Size.Height + style.TopMargin + style.BottomMargin + ROOM
        self.document.storeToURL(Path(file).as_uri(), (_named("FilterName", "calc_pdf_Export"),))
        self.close()

    def ask(self) -> None:
        """Run the macro, as its button does."""
        self.document.getScriptProvider().getScript(MACRO).invoke((), (), ())

    def keep(self, file: str, content: str | None) -> None:
        """Write a file of the person's own, or remove it."""
        if content is None:
            Path(file).unlink()
        else:
            Path(file).write_text(content, encoding="utf-8")

    def write(self, sheet: str, cell: str, content: Any) -> None:
        """Type a number or a text into a cell."""
        place = self._cell(sheet, cell)
        if isinstance(content, str):
            place.setString(content)
        else:
            place.setValue(content)

    def formula(self, sheet: str, cell: str, formula: str) -> None:
        """Type a formula into a cell."""
        self._cell(sheet, cell).setFormula(formula)

    def show_as(self, sheet: str, cell: str, form: str) -> None:
        """Give a cell another format for numbers, as DD.MM.YYYY."""
        formats, english = self.document.NumberFormats, Locale("en", "US", "")
        key = formats.queryKey(form, english, False)
        place = self._cell(sheet, cell)
        place.NumberFormat = key if key >= 0 else formats.addNew(form, english)

    def read(self, sheet: str, cell: str) -> str:
        """Return what a cell shows."""
        return str(self._cell(sheet, cell).String)

    def call(self, function: str, *arguments: Any) -> Any:
        """Return the result of a function of Calc."""
        return self._service("com.sun.star.sheet.FunctionAccess").callFunction(function, arguments)

    def _cell(self, sheet: str, cell: str) -> Any:
        return self.document.Sheets.getByName(sheet).getCellRangeByName(cell)

    def _service(self, name: str) -> Any:
        return self.services.createInstanceWithContext(name, self.context)


def _used(sheet: Any) -> Any:
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    last = cursor.RangeAddress
    return sheet.getCellRangeByPosition(0, 0, last.EndColumn, last.EndRow)


def _named(name: str, value: Any) -> Any:
    named = PropertyValue()
    named.Name, named.Value = name, value
    return named


def _context(pipe: str) -> Any:
    """Connect to the running Calc, as soon as it listens."""
    local = uno.getComponentContext()
    name = "com.sun.star.bridge.UnoUrlResolver"
    resolver = local.ServiceManager.createInstanceWithContext(name, local)
    deadline = time.monotonic() + START_SECONDS
    while True:
        try:
            return resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
        except NoConnectException:
            if time.monotonic() > deadline:
                raise
            time.sleep(PAUSE_SECONDS)


def main(pipe: str, steps: str) -> None:
    """Run the steps in order."""
    person = Person(_context(pipe))
    given = [getattr(person, name)(*more) for name, *more in json.loads(steps)]
    print(json.dumps(given), flush=True)
    # The connection's thread may still be sending while Python takes its libraries down, and then
    # all ends with a segmentation fault, after the steps are done. So nothing is taken down.
    os._exit(os.EX_OK)


if __name__ == "__main__":
    main(*sys.argv[1:])
