"""Opens dossiers in headless Chromium by the WebDriver protocol (W3C) and looks at them as a reader would.

Usage: browser-check.py PORT PROFILE_FOLDER FILE WORD [FILE WORD ...]
WORD is the verdict that must be visible on the first page. Only the standard library is used.
"""

import json
import pathlib
import sys
import time
import urllib.error
import urllib.request


def call(port, method, path, body=None):
    data = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}{path}", data, {"Content-Type": "application/json"}, method=method
    )
    with urllib.request.urlopen(request, timeout=60) as answer:
        return json.load(answer)["value"]


def wait_for_driver(port):
    for _ in range(100):
        try:
            if call(port, "GET", "/status")["ready"]:
                return
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.1)
    sys.exit("chromedriver did not start")


def open_browser(port, profile):
    arguments = [
        "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--disable-sync",
        f"--user-data-dir={profile}", "--window-size=1000,1400",
    ]
    capabilities = {
        "goog:chromeOptions": {"args": arguments},
        "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
    }
    body = {"capabilities": {"alwaysMatch": capabilities}}
    return call(port, "POST", "/session", body)["sessionId"]


def script(port, session, code):
    return call(port, "POST", f"/session/{session}/execute/sync", {"script": code, "args": []})


VISIBLE_TEXT = "return document.body.innerText;"
# Figures must be there, drawn with some size, and named for people who cannot see them.
FIGURES = """return [...document.querySelectorAll('svg[role=img]')].map(svg => {
    const box = svg.getBoundingClientRect();
    return {wide: box.width, high: box.height, named: !!(svg.getAttribute('aria-label') || svg.querySelector('title'))};
});"""
OVERFLOW = "return document.documentElement.scrollWidth - document.documentElement.clientWidth;"


def problems_of(port, session, file, verdict):
    page = pathlib.Path(file).resolve().as_uri()
    # The browser's own start page loads things of its own; what it logged before does not count.
    call(port, "POST", f"/session/{session}/url", {"url": "about:blank"})
    for kind in ("browser", "performance"):
        call(port, "POST", f"/session/{session}/se/log", {"type": kind})
    call(port, "POST", f"/session/{session}/url", {"url": page})
    text = script(port, session, VISIBLE_TEXT)
    for expected in [verdict, "K-12", "hourly leak rate", "SHA-256", "breathing air"]:
        if expected.lower() not in text.lower():
            yield f"not visible: {expected}"
    figures = script(port, session, FIGURES)
    if len(figures) < 3:
        yield f"only {len(figures)} figures"
    for figure in figures:
        if figure["wide"] < 200 or figure["high"] < 100 or not figure["named"]:
            yield f"a figure that cannot be read: {figure}"
    if script(port, session, OVERFLOW) > 0:
        yield "the page is wider than the window"
    for entry in call(port, "POST", f"/session/{session}/se/log", {"type": "browser"}):
        if entry["level"] in ("SEVERE", "WARNING"):
            yield f"console: {entry['message']}"
    for entry in call(port, "POST", f"/session/{session}/se/log", {"type": "performance"}):
        event = json.loads(entry["message"])["message"]
        if event["method"] == "Network.requestWillBeSent":
            url = event["params"]["request"]["url"]
            if url != page and not url.startswith(("data:", "about:", "chrome:")):
                yield f"network request: {url}"


def main():
    port, profile, *rest = sys.argv[1:]
    wait_for_driver(port)
    session = open_browser(port, profile)
    try:
        bad = 0
        for file, verdict in zip(rest[::2], rest[1::2], strict=True):
            problems = list(problems_of(port, session, file, verdict))
            bad += len(problems)
            print(f"{pathlib.Path(file).parent.name}: {'looks right' if not problems else ''}")
            for problem in problems:
                print(f"  {problem}")
    finally:
        call(port, "DELETE", f"/session/{session}")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
