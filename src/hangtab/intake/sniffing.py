"""What a source is: by its content first, by its name where the content leaves it open."""

from __future__ import annotations

import re

from hangtab.intake.model import Media
from hangtab.intake.tables import decoded, delimited

_PHOTOS = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"GIF87a", b"GIF89a", b"BM", b"II*\x00", b"MM\x00*")
_ZIP = b"PK\x03\x04"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"
_HTML = re.compile(r"<(!doctype\s+html|html|head|body|title|div|table|meta|script)\b", re.IGNORECASE)
_BY_NAME = {
    "csv": Media.CSV, "tsv": Media.TSV, "tab": Media.TSV, "xlsx": Media.XLSX, "xlsm": Media.XLSX, "xls": Media.XLSX,
    "html": Media.HTML, "htm": Media.HTML, "txt": Media.TEXT, "text": Media.TEXT, "md": Media.TEXT,
    "png": Media.PHOTO, "jpg": Media.PHOTO, "jpeg": Media.PHOTO, "webp": Media.PHOTO, "gif": Media.PHOTO,
}  # fmt: skip
_HEAD = 4096
_ODD = re.compile(r"[\x00-\x08\x0e-\x1f\ufffd]")


def sniff(name: str, data: bytes) -> Media:
    r"""What the bytes are. A workbook's name on bytes that are none stays a workbook, so that reading it says so.

    >>> sniff("a.txt", b"<html><body>x</body></html>"), sniff("b.csv", b"Title;Price\nlamp;3\n")
    (<Media.HTML: 'html'>, <Media.CSV: 'csv'>)
    """
    named = _BY_NAME.get(name.rpartition(".")[2].lower(), Media.UNKNOWN)
    if data.startswith(_PHOTOS) or (data.startswith(b"RIFF") and data[8:12] == b"WEBP") or data[4:8] == b"ftyp":
        return Media.PHOTO
    if data.startswith((_ZIP, _OLD_WORKBOOK)) or named is Media.XLSX:
        return Media.XLSX if named in (Media.XLSX, Media.UNKNOWN) or b"xl/" in data[:_HEAD] else Media.UNKNOWN
    if named is Media.PHOTO or not data.strip():
        return Media.UNKNOWN
    text = decoded(data[:_HEAD])
    if len(_ODD.findall(text)) * 20 > len(text):
        return Media.UNKNOWN
    if named in (Media.CSV, Media.TSV, Media.TEXT):  # a title in a list may hold markup; a page begins with it
        page = _HTML.match(text.lstrip("\ufeff \t\r\n")) is not None
    else:
        page = _HTML.search(text) is not None or (named is Media.HTML and "<" in text)
    if page:
        return Media.HTML
    return _text_media(data, named)


def _text_media(data: bytes, named: Media) -> Media:
    if named is Media.TEXT:
        return Media.TEXT
    table = delimited(data[:_HEAD])
    widths = [len(r) for r in table.rows() if r]
    even = len(widths) > 1 and min(widths) > 1 and len(set(widths[:-1])) == 1
    if named in (Media.CSV, Media.TSV) or even:
        return Media.TSV if table.delimiter == "\t" else Media.CSV
    return Media.TEXT
