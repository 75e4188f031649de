"""The content policy allows exactly the style elements of the installed chart bundle, and nothing inline of
any other kind.
"""

import ast
import base64
import hashlib
import re
from pathlib import Path

import plotly
import pytest
from django.conf import settings

BUNDLE = Path(plotly.__file__).parent / "package_data" / "plotly.min.js"


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _styles_of_the_bundle() -> set[str]:
    """The empty element that it fills by rule, and the text of those it writes whole."""
    script = BUNDLE.read_text("utf-8")
    whole = re.findall(r"\.textContent=('(?:[^'\\]|\\.)*')", script)
    assert whole
    return {""} | {ast.literal_eval(text) for text in whole if "{" in text}


def test_the_policy_names_the_bundles_own_styles_and_no_other():
    allowed = settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]["style-src"]
    assert {word for word in allowed if word.startswith("'sha256-")} == {
        _hash(text) for text in _styles_of_the_bundle()
    }


@pytest.mark.django_db
def test_every_answer_carries_the_policy_without_unsafe_words_or_other_hosts(client):
    for address in ("/sign-in/", "/nowhere/", "/health/"):
        policy = client.get(address).headers["Content-Security-Policy"]
        assert "unsafe" not in policy and "http" not in policy and "*" not in policy
        assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
