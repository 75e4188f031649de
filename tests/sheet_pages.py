"""A sheet through its pages, as a browser would: looked at on the last page, then stored."""

import re


def looked_at(client, url, set_aside=""):
    """The address of the last page and the digest of what it shows; none where it leads back to the
    questions.
    """
    last = client.post(url, {"then": "look", "set_aside": set_aside}).url
    page = client.get(last)
    found = re.search(r'name="shown" value="(\w+)"', page.content.decode())
    return last, found[1] if found else ""


def store(client, url, set_aside=""):
    """What the last page shows of a draft stored; the answer to the button. `url`: the draft's questions."""
    _, shown = looked_at(client, url, set_aside)
    return client.post(url, {"then": "store", "set_aside": set_aside, "shown": shown})


def questions_of(url):
    """The questions' address of a draft, from any of its pages."""
    return re.match(r"/import/draft/[\w-]+/", url)[0]
