"""Small workbooks made in code, for the tests of reading."""

import zipfile

HEADINGS = ["participant", "phase", "trial", "x"]


def good_rows(count=6):
    """Rows in which nothing is wrong."""
    return [[f"p{i}", "pretest", 1, 1.5 * i] for i in range(1, count + 1)]


ODS = """<?xml version="1.0" encoding="UTF-8"?>
<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
 xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"
 xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" office:version="1.2"><office:body>
<office:spreadsheet><table:table table:name="Log">{rows}</table:table></office:spreadsheet>
</office:body></office:document-content>"""


def write_ods(path, rows):
    cells = ""
    for row in rows:
        cells += "<table:table-row>"
        for value in row:
            if isinstance(value, str):
                cells += (
                    '<table:table-cell office:value-type="string">'
                    f"<text:p>{value}</text:p></table:table-cell>"
                )
            else:
                cells += (
                    f'<table:table-cell office:value-type="float" office:value="{value}">'
                    f"<text:p>{value}</text:p></table:table-cell>"
                )
        cells += "</table:table-row>"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", ODS.format(rows=cells))
        archive.writestr(
            "META-INF/manifest.xml",
            '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"'
            "/>",
        )
