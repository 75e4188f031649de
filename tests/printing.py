"""Whether this machine can make a PDF; tests that need one say why they are skipped, and fail in CI."""

import pytest

from inspections.bundle.report import NoPrinter, must_be_able_to_print


def can_print() -> bool:
    try:
        must_be_able_to_print()
    except NoPrinter:
        return False
    return True


needs_pango = pytest.mark.skipif(not can_print(), reason="the PDF needs the system library pango")
