"""The same correction with pikepdf: each back drawn as a form XObject through a matrix.

    with_pikepdf.py IN.pdf OUT.pdf a b c d e f
"""

import sys

import pikepdf


def main(source, target, *matrix):
    """Wraps the even pages."""
    with pikepdf.open(source) as pdf:
        for page in pdf.pages[1::2]:
            form = pdf.make_indirect(page.as_form_xobject(handle_transformations=False))
            page.obj.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Content=form))
            page.obj.Contents = pdf.make_stream(f"q {' '.join(matrix)} cm /Content Do Q".encode())
        pdf.save(target, compress_streams=False,
                 stream_decode_level=pikepdf.StreamDecodeLevel.none)


if __name__ == "__main__":
    main(*sys.argv[1:])
