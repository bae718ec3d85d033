#!/usr/bin/env python3
"""Makes the sheets beside it anew: the same two lists as spreadsheets save them. Those whose name holds "office" are saved
by LibreOffice (Debian's libreoffice-calc-nogui), all others are written here."""

import csv
import datetime
import io
import pathlib
import subprocess
import tempfile
import zipfile

HERE = pathlib.Path(__file__).parent

VISITS = [
    "date,trap,eggs,eggs_left,moths,males,females,readable,serviced,note,by".split(","),
    ["2022-03-18", "e1", "0", "", "", "", "", "", "", "", "Ada Lamb"],
    ["2022-04-05", "e1", "12", "yes", "", "", "", "", "", "left on, for a second look", "Ada Lamb"],
    ["2022-04-05", "e2", "1234", "", "", "", "", "", "bait", "gate of Peña", "Ada Lamb"],
    ["2022-04-05", "e3", "", "", "", "", "", "no", "", 'he said "wet"', "Ada Lamb"],
    ["2022-04-12", "p1", "", "", "12", "", "", "", "lure", "", "Luis"],
    ["2022-04-13", "p1", "", "", "", "1", "2", "", "", "", "Luis"],
]
NOTES = [
    "date,block,variety,kind,value,earliest,latest,trees,top,middle,low,nuts,orangeworm,twig_borer,ants,other,percent,note".split(","),
    ["2022-02-18", "home", "Nonpareil", "bloom"] + [""] * 14,
    ["2022-07-01", "home", "Nonpareil", "hull-split-check", "", "", "", "6", "3.5", "1.25", "0"] + [""] * 6 + ["tops"],
    ["2022-07-20", "home", "Nonpareil", "shake-expected", "2022-08-10", "2022-08-05", "2022-08-20"] + [""] * 11,
    ["2021-08-20", "home", "Nonpareil", "harvest-sample"] + [""] * 7 + ["1500", "9", "2", "1", "0", "", ""],
    ["2021-09-20", "home", "Nonpareil", "field-damage"] + [""] * 12 + ["2.5", "by eye"],
]
DAYS = {"date", "value", "earliest", "latest"}


def changed(table, columns, change):
    """The table with the filled cells of some columns changed."""
    header = table[0]
    rows = [
        [change(cell) if cell and name in columns else cell for name, cell in zip(header, row)]
        for row in table[1:]
    ]
    return [header, *rows]


def dated(table, form):
    """The table with its days in another form, in letters of str.format."""
    def change(cell):
        day = datetime.date.fromisoformat(cell)
        return form.format(y=day.year, yy=day.year % 100, m=day.month, d=day.day)
    return changed(table, DAYS, change)


def text(table, delimiter=",", end="\r\n", quoting=csv.QUOTE_MINIMAL):
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator=end, quoting=quoting).writerows(table)
    return out.getvalue()


def save(name, content, encoding="utf-8"):
    path = HERE / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))


def reordered(table, order, rename):
    places = [table[0].index(name) for name in order]
    rows = [[row[place] for place in places] for row in table]
    return [[rename(name) for name in rows[0]], *rows[1:]]


def texts():
    us = dated(VISITS, "{m}/{d}/{y}")
    short = dated(VISITS, "{m}/{d}/{yy:02}")
    counts = {"eggs", "moths", "males", "females"}
    grouped = lambda mark: lambda cell: f"{int(cell):,}".replace(",", mark)
    truths = {"yes": "TRUE", "no": "FALSE"}
    save("month-day/visits.csv", text(VISITS, end="\n"))
    save("month-day/visits-slashes.csv", text(us))
    save("month-day/visits-padded.csv", text(dated(VISITS, "{m:02}/{d:02}/{y}")))
    save("month-day/visits-short-years.csv", text(short))
    save("month-day/visits-dashes.csv", text(dated(VISITS, "{m}-{d}-{yy:02}")))
    save("month-day/visits-year-first.csv", text(dated(VISITS, "{y}/{m}/{d}")))
    save("month-day/visits-midnight.csv", text(dated(VISITS, "{m}/{d}/{y} 0:00")))
    mixed = us[:4] + VISITS[4:]
    save("month-day/visits-iso-between.csv", text(mixed))
    save("month-day/visits-bom.csv", text(us), "utf-8-sig")
    save("month-day/visits-cr.csv", text(us, end="\r"))
    save("month-day/visits-windows-1252.csv", text(us), "cp1252")
    save("month-day/visits-unicode-text.tsv", b"\xff\xfe" + text(us, "\t").encode("utf-16-le"))
    save("month-day/visits-unicode-big.tsv", b"\xfe\xff" + text(us, "\t").encode("utf-16-be"))
    save("month-day/visits-tabs.tsv", text(us, "\t", end="\n"))
    save("month-day/visits-semicolons.csv", text(us, ";"))
    save("month-day/visits-sep-line.csv", "sep=;\r\n" + text(us, ";"))
    order = "note,eggs,trap,serviced,date,by,moths,males,females,readable,eggs_left".split(",")
    save("month-day/visits-header.csv", text(reordered(us, order, lambda name: f" {name.title()} ")))
    lines = text(us).split("\r\n")
    blank = ["", "," * 10, *lines[:2], "", "", *lines[2:5], "," * 10, *lines[5:-1], "," * 10, "", ""]
    save("month-day/visits-blank-rows.csv", "\r\n".join(blank))
    save("month-day/visits-empty-columns.csv", text([row + ["", "", ""] for row in us]))
    save("month-day/visits-quoted.csv", text(us, quoting=csv.QUOTE_ALL))
    save("month-day/visits-thousands.csv", text(changed(us, counts, grouped(","))))
    save("month-day/visits-blank-thousands.csv", text(changed(us, counts, grouped("\u00a0"))))
    save("month-day/visits-decimals.csv", text(changed(us, counts, lambda cell: cell + ".0")))
    save("month-day/visits-truths.csv", text(changed(us, {"eggs_left", "readable"}, truths.get)))
    save("month-day/notes.csv", text(NOTES, end="\n"))
    us_notes = dated(NOTES, "{m}/{d}/{y}")
    save("month-day/notes-slashes.csv", text(changed(us_notes, {"nuts"}, grouped(","))))
    save("month-day/notes-percent.csv", text(changed(us_notes, {"percent", "top"}, "{}%".format)))

    save("day-month/visits.csv", text(VISITS, end="\n"))
    points = dated(VISITS, "{d:02}.{m:02}.{y}")
    save("day-month/visits-points.csv", text(changed(points, counts, grouped(".")), ";"), "cp1252")
    save("day-month/visits-slashes.csv", text(dated(VISITS, "{d:02}/{m:02}/{y}"), ";"))
    save("day-month/visits-short-years.csv", text(dated(VISITS, "{d}/{m}/{yy:02}")))
    save("day-month/notes.csv", text(NOTES, end="\n"))
    comma = lambda cell: cell.replace(".", ",")
    eu_notes = dated(changed(NOTES, {"top", "middle", "low", "percent"}, comma), "{d}.{m}.{y}")
    save("day-month/notes-commas.csv", text(eu_notes, ";"))
    save("day-month/notes-commas.tsv", text(eu_notes, "\t"))


def packed(name, parts):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, content in parts.items():
            archive.writestr(zipfile.ZipInfo(path, (2022, 4, 14, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)
    save(name, out.getvalue())


def escaped(cell):
    return cell.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")


def xlsx(name, table, first_day=datetime.date(1899, 12, 30), percent=()):
    """A workbook whose first page is another one, with shared strings, days as numbers, and a count by formula."""
    strings = []

    def cell(place, row, column, value):
        at = f'r="{chr(65 + place)}{row}"'
        if not value:
            return ""
        if row > 1 and column in DAYS:
            days = (datetime.date.fromisoformat(value) - first_day).days
            return f'<c {at} s="1"><v>{days}</v></c>'
        if row > 1 and column in percent:
            return f'<c {at} s="2"><v>{float(value) / 100}</v></c>'
        if row > 1 and column in {"eggs_left", "readable"}:
            return f'<c {at} t="b"><v>{int(value == "yes")}</v></c>'
        try:
            number = float(value)
        except ValueError:
            strings.append(value)
            return f'<c {at} t="s"><v>{len(strings) - 1}</v></c>'
        formula = "<f>617*2</f>" if value == "1234" else ""
        return f"<c {at}>{formula}<v>{number:g}</v></c>"

    rows = ""
    for number, row in enumerate(table, 1):
        cells = "".join(cell(p, number, c, v) for p, (c, v) in enumerate(zip(table[0], row)))
        rows += f'<row r="{number}">{cells}</row>'
    main = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    sheet = lambda rows: f"<worksheet {main}><sheetData>{rows}</sheetData></worksheet>"
    epoch = '<workbookPr date1904="1"/>' if first_day.year == 1904 else ""
    head = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>'
    packed(name, {
        "[Content_Types].xml": f'{head}<Types xmlns="{package}/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" ContentType="{kind}.sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="{kind}.worksheet+xml"/><Override PartName="/xl/worksheets/sheet2.xml" ContentType="{kind}.worksheet+xml"/><Override PartName="/xl/sharedStrings.xml" ContentType="{kind}.sharedStrings+xml"/><Override PartName="/xl/styles.xml" ContentType="{kind}.styles+xml"/></Types>',
        "_rels/.rels": f'{head}<Relationships xmlns="{package}/relationships"><Relationship Id="r1" Type="{office}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'{head}<workbook {main} xmlns:r="{office}">{epoch}<sheets><sheet name="To do" sheetId="1" r:id="r1"/><sheet name="Round" sheetId="2" r:id="r2"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'{head}<Relationships xmlns="{package}/relationships"><Relationship Id="r1" Type="{office}/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="r2" Type="{office}/worksheet" Target="worksheets/sheet2.xml"/><Relationship Id="r3" Type="{office}/sharedStrings" Target="sharedStrings.xml"/><Relationship Id="r4" Type="{office}/styles" Target="styles.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": sheet('<row r="1"><c r="A1" t="inlineStr"><is><t>order liners</t></is></c></row>'),
        "xl/worksheets/sheet2.xml": sheet(rows),
        "xl/sharedStrings.xml": f"{head}<sst {main}>" + "".join(f"<si><t>{escaped(s)}</t></si>" for s in strings) + "</sst>",
        "xl/styles.xml": f'{head}<styleSheet {main}><cellXfs count="3"><xf numFmtId="0"/><xf numFmtId="14" applyNumberFormat="1"/><xf numFmtId="10" applyNumberFormat="1"/></cellXfs></styleSheet>',
    })


def ods(name, table):
    """A workbook with days and percentages as values, equal cells as repeats, and a remark at a cell."""
    def cell(column, value):
        shown = f"<text:p>{escaped(value)}</text:p>"
        if not value:
            return "<table:table-cell/>"
        if column in DAYS:
            return f'<table:table-cell office:value-type="date" office:date-value="{value}"><text:p>seen</text:p></table:table-cell>'
        if column in {"top", "percent"}:
            return f'<table:table-cell office:value-type="percentage" office:value="{float(value) / 100}"><text:p>?</text:p></table:table-cell>'
        if value.replace(".", "").isdigit():
            return f'<table:table-cell office:value-type="float" office:value="{value}"><office:annotation><text:p>sure?</text:p></office:annotation><text:p>?</text:p></table:table-cell>'
        return f'<table:table-cell office:value-type="string">{shown}</table:table-cell>'

    def row(cells):
        out, last, times = "", None, 0
        for each in [*cells, None]:
            if each == last:
                times += 1
                continue
            if last is not None:
                repeated = f' table:number-columns-repeated="{times}"' if times > 1 else ""
                out += last.replace("<table:table-cell", f"<table:table-cell{repeated}", 1)
            last, times = each, 1
        return f'<table:table-row>{out}<table:table-cell table:number-columns-repeated="16000"/></table:table-row>'

    header = row([cell("", name) for name in table[0]])
    rows = "".join(row([cell(c, v) for c, v in zip(table[0], r)]) for r in table[1:])
    empty = '<table:table-row table:number-rows-repeated="{}"><table:table-cell table:number-columns-repeated="16384"/></table:table-row>'
    spaces = " ".join(f'xmlns:{p}="urn:oasis:names:tc:opendocument:xmlns:{p}:1.0"' for p in ("office", "table", "text"))
    packed(name, {
        "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
        "META-INF/manifest.xml": '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>',
        "content.xml": f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {spaces}><office:body><office:spreadsheet>'
        f'<table:table table:name="Empty">{empty.format(1048576)}</table:table>'
        f'<table:table table:name="Round">{empty.format(3)}{header}{rows}{empty.format(1048000)}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>",
    })


def office(name, table, form):
    """Saved by LibreOffice, which takes days and numbers for what they are."""
    with tempfile.TemporaryDirectory() as folder:
        source = pathlib.Path(folder) / (pathlib.Path(name).stem + ".csv")
        source.write_text(text(dated(table, form), end="\n"))
        command = ["soffice", "--headless", f"-env:UserInstallation=file://{folder}/profile", "--infilter=CSV:44,34,76,1,,1033,false,true,false"]
        command += ["--convert-to", pathlib.Path(name).suffix[1:], "--outdir", folder, str(source)]
        subprocess.run(command, check=True, capture_output=True)
        save(name, (pathlib.Path(folder) / pathlib.Path(name).name).read_bytes())


def main():
    texts()
    xlsx("month-day/visits-pages.xlsx", VISITS)
    xlsx("day-month/visits-from-1904.xlsx", VISITS, datetime.date(1904, 1, 1))
    xlsx("month-day/notes-percent.xlsx", NOTES, percent={"top", "middle", "low", "percent"})
    ods("month-day/visits-repeats.ods", VISITS)
    ods("day-month/notes-percent.ods", NOTES)
    for suffix in ("xlsx", "ods"):
        office(f"month-day/visits-office.{suffix}", VISITS, "{m}/{d}/{y}")
        office(f"month-day/notes-office.{suffix}", NOTES, "{m}/{d}/{y}")


main()
