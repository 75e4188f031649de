"""The system's Chromium opens the site as it is served, and the site tells it nothing it should not run."""


def test_the_sign_in_page_opens_without_a_word_of_complaint(live_server, page):
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{live_server.url}/sign-in/")
    assert page.get_by_role("heading", level=1).inner_text() == "Sign in"
    assert complaints == []
    assert [url for url in asked if not url.startswith(live_server.url)] == []
