#!/usr/bin/python3
"""Opens a round sheet in LibreOffice, fills it in as a person would, and saves it in each form and in two countries' ways.

Usage: spreadsheet.py SHEET FOLDER TRAP=COUNT...

Needs Debian's libreoffice-calc-nogui and python3-uno, which only the system's own Python finds."""

import pathlib
import subprocess
import sys
import tempfile
import time

import uno
from com.sun.star.beans import PropertyValue
from com.sun.star.connection import NoConnectException
from com.sun.star.i18n.NumberFormatIndex import NUMBER_1000INT
from com.sun.star.lang import Locale
from com.sun.star.util.NumberFormat import DATE

# Country, its language in numbers of the file filters, and what parts fields in how it saves CSV: a code of a
# character, and of an encoding (76 is UTF-8, 1 is Windows-1252, 65535 is UTF-16).
COUNTRIES = {"US": ("en", 1033, "44,34,76"), "DE": ("de", 1031, "59,34,1"), "ES": ("es", 3082, "9,34,65535")}
CSV = "Text - txt - csv (StarCalc)"
FORMS = {"xlsx": "Calc MS Excel 2007 XML", "ods": "calc8", "csv": CSV}


def options(**named):
    return tuple(PropertyValue(Name=name, Value=value) for name, value in named.items())


def desktop(pipe, folder):
    """The running program, once it answers."""
    command = ["soffice", "--headless", "--norestore", f"-env:UserInstallation=file://{folder}/profile"]
    program = subprocess.Popen([*command, f"--accept=pipe,name={pipe};urp;"])
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstance("com.sun.star.bridge.UnoUrlResolver")
    for _ in range(600):
        try:
            context = resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
            return program, context.ServiceManager.createInstance("com.sun.star.frame.Desktop")
        except NoConnectException:
            time.sleep(0.2)
    program.kill()
    sys.exit("LibreOffice does not answer")


def fill_in(document, counts, locale):
    sheet = document.Sheets[0]
    area = sheet.createCursor()
    area.gotoEndOfUsedArea(False)
    last = area.RangeAddress
    header = {sheet.getCellByPosition(place, 0).String: place for place in range(last.EndColumn + 1)}
    formats = document.NumberFormats
    for row in range(1, last.EndRow + 1):
        trap = sheet.getCellByPosition(header["trap"], row).String
        if trap in counts:
            sheet.getCellByPosition(header["eggs"], row).Value = counts[trap]
    days = sheet.getCellRangeByPosition(header["date"], 1, header["date"], last.EndRow)
    days.NumberFormat = formats.getStandardFormat(DATE, locale)
    eggs = sheet.getCellRangeByPosition(header["eggs"], 1, header["eggs"], last.EndRow)
    eggs.NumberFormat = formats.getFormatIndex(NUMBER_1000INT, locale)


def main(source, folder, *given):
    counts = {trap: float(count) for trap, count in (pair.split("=") for pair in given)}
    with tempfile.TemporaryDirectory() as own:
        program, office = desktop(pathlib.Path(own).name, own)
        try:
            for country, (language, number, marks) in COUNTRIES.items():
                read = options(Hidden=True, FilterName=CSV, FilterOptions=f"44,34,76,1,,{number},false,true,false")
                document = office.loadComponentFromURL(pathlib.Path(source).resolve().as_uri(), "_blank", 0, read)
                fill_in(document, counts, Locale(language, country, ""))
                for suffix, form in FORMS.items():
                    target = pathlib.Path(folder).resolve() / f"{country}.{suffix}"
                    write = {"FilterOptions": f"{marks},1,,{number},false,true,true"} if form == CSV else {}
                    document.storeToURL(target.as_uri(), options(FilterName=form, **write))
                document.close(True)
        finally:
            try:
                office.terminate()
            finally:
                program.wait(60)


main(*sys.argv[1:])
