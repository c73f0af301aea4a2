"""Workbooks and documents that say nothing of who made them and when, the same bytes every time."""

import io
import zipfile
from collections.abc import Callable, Mapping
from typing import Final
from xml.etree import ElementTree
from xml.sax.saxutils import escape

_TIME: Final = (2000, 1, 1, 0, 0, 0)
_MOMENT: Final = "2000-01-01T00:00:00Z"
_PACKAGE: Final = "http://schemas.openxmlformats.org/package/2006"
_DUBLIN: Final = "http://purl.org/dc"
_CORE: Final = "docProps/core.xml"
_APPLICATION: Final = "docProps/app.xml"
_DECLARED: Final = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_NEUTRAL_APPLICATION: Final = (
    f'{_DECLARED}<Properties xmlns="http://schemas.openxmlformats.org/officeDocument/2006/'
    'extended-properties"><Application>motorlearn</Application></Properties>'
)


def neutral_office(
    content: bytes, changes: Mapping[str, Callable[[bytes], bytes]] | None = None
) -> bytes:
    """Take author, times, template and thumbnail out of an XLSX or DOCX file; its title stays.

    Parameters
    ----------
    content : bytes
        The file as a library wrote it.
    changes : mapping of str to callable, optional
        What is done with a part of the file beside, by its name.

    Returns
    -------
    bytes
        The same document; two documents with the same content have the same bytes.
    """
    made = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as source,
        zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for name in source.namelist():
            if "thumbnail" not in name:
                entry = zipfile.ZipInfo(name, _TIME)
                packed = name.endswith(".png")  # a picture does not get smaller
                entry.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
                entry.create_system = 3
                entry.external_attr = 0o644 << 16
                target.writestr(entry, _neutral_part(name, _changed(name, source, changes)))
    return made.getvalue()


def _changed(
    name: str, source: zipfile.ZipFile, changes: Mapping[str, Callable[[bytes], bytes]] | None
) -> bytes:
    part = source.read(name)
    return changes[name](part) if changes and name in changes else part


def _neutral_part(name: str, content: bytes) -> bytes:
    if name == _CORE:
        return _neutral_core(content).encode("utf-8")
    if name == _APPLICATION:
        return _NEUTRAL_APPLICATION.encode("utf-8")
    if name == "_rels/.rels":
        return _without_thumbnail(content)
    return content


def _neutral_core(content: bytes) -> str:
    root = ElementTree.fromstring(content)
    kept = {
        tag: root.findtext(f"{{{_DUBLIN}/elements/1.1/}}{tag}") for tag in ("title", "language")
    }
    told = "".join(f"<dc:{tag}>{escape(text)}</dc:{tag}>" for tag, text in kept.items() if text)
    times = "".join(
        f'<dcterms:{tag} xsi:type="dcterms:W3CDTF">{_MOMENT}</dcterms:{tag}>'
        for tag in ("created", "modified")
    )
    return (
        f'{_DECLARED}<cp:coreProperties xmlns:cp="{_PACKAGE}/metadata/core-properties" '
        f'xmlns:dc="{_DUBLIN}/elements/1.1/" xmlns:dcterms="{_DUBLIN}/terms/" '
        f'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">{told}{times}</cp:coreProperties>'
    )


def _without_thumbnail(content: bytes) -> bytes:
    ElementTree.register_namespace("", f"{_PACKAGE}/relationships")
    root = ElementTree.fromstring(content)
    for link in list(root):
        if link.get("Type", "").endswith("/thumbnail"):
            root.remove(link)
    stripped: bytes = ElementTree.tostring(root, encoding="UTF-8", xml_declaration=True)
    return stripped
