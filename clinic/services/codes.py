"""Codes to scan."""

import segno


def code_image(words: str) -> str:
    """The words as a code to scan (ISO/IEC 18004, level M), a data: address; black on white always."""
    image: str = segno.make_qr(words, error="m").svg_data_uri(scale=4, border=4, dark="#000", light="#fff")
    return image
