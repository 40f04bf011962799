"""The same correction with pypdf, a library in pure Python.

    with_pypdf.py IN.pdf OUT.pdf a b c d e f
"""

import sys

from pypdf import PdfWriter
from pypdf.generic import DecodedStreamObject, DictionaryObject, NameObject


def main(source, target, *matrix):
    """Wraps the even pages."""
    writer = PdfWriter(clone_from=source)
    for page in writer.pages[1::2]:
        form = DecodedStreamObject()
        form.set_data(page.get_contents().get_data())
        form.update({NameObject("/Type"): NameObject("/XObject"),
                     NameObject("/Subtype"): NameObject("/Form"),
                     NameObject("/BBox"): page["/MediaBox"],
                     NameObject("/Resources"): page["/Resources"]})
        content = DecodedStreamObject()
        content.set_data(f"q {' '.join(matrix)} cm /Content Do Q".encode())
        page[NameObject("/Resources")] = DictionaryObject({
            NameObject("/XObject"): DictionaryObject({
                NameObject("/Content"): writer._add_object(form.flate_encode())})})
        page[NameObject("/Contents")] = writer._add_object(content)
    writer.write(target)


if __name__ == "__main__":
    main(*sys.argv[1:])
