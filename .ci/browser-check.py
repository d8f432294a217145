"""Opens dossiers in headless Chromium by the WebDriver protocol (W3C) and looks at them as a reader would.

Usage: browser-check.py PORT PROFILE_FOLDER FILE WORD [FILE WORD ...]
WORD is the verdict that must be visible on the first page.
"""

import base64
import json
import pathlib
import re
import subprocess
import sys
import time
import urllib.error
import urllib.request

import html5lib


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


def script(port, session, code, arguments=()):
    return call(port, "POST", f"/session/{session}/execute/sync", {"script": code, "args": list(arguments)})


VISIBLE_TEXT = "return document.body.innerText;"
# Figures must be there, drawn with some size, and named for people who cannot see them.
FIGURES = """return [...document.querySelectorAll('svg[role=img]')].map(svg => {
    const box = svg.getBoundingClientRect();
    return {wide: box.width, high: box.height, named: !!(svg.getAttribute('aria-label') || svg.querySelector('title'))};
});"""
OVERFLOW = "return document.documentElement.scrollWidth - document.documentElement.clientWidth;"


# Paper, width and height in cm, and the margins of the style sheet.
PAPERS = {"A4": (21.0, 29.7), "Letter": (21.59, 27.94)}
MARGINS = (3.0, 3.4)
PIXELS_A_CM = 96 / 2.54
# What may not be parted must fit a page, and nothing may be wider than the page.
TOO_LARGE = """const [wide, high] = arguments;
return [...document.querySelectorAll('figure, tr, .next, .cautions, .signatures, .problem, .facts, .top, table, pre, p, li')]
    .map(element => {
        const box = element.getBoundingClientRect();
        const parted = ['TABLE', 'PRE', 'P', 'LI'].includes(element.tagName);
        return {what: element.tagName + ' ' + element.textContent.trim().slice(0, 40), cut: box.right > wide + 1 || (!parted && box.height > high)};
    })
    .filter(element => element.cut).map(element => element.what);"""


def parse_errors(file):
    """Whatever the HTML standard calls a parse error."""
    parser = html5lib.HTMLParser()
    parser.parse(pathlib.Path(file).read_bytes(), transport_encoding="utf-8")
    for (line, column), code, _ in parser.errors[:5]:
        yield f"HTML, line {line}, column {column}: {code}"


def print_problems(port, session, file):
    """Prints on A4 and Letter: page numbers on every page, nothing cut."""
    for paper, (wide, high) in PAPERS.items():
        size = {"width": wide, "height": high}
        answer = call(port, "POST", f"/session/{session}/print", {"page": size, "background": False})
        pdf = pathlib.Path(file).with_name(f"{paper}.pdf")
        pdf.write_bytes(base64.b64decode(answer))
        text = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True).stdout
        pages = text.rstrip("\f\n").split("\f")
        for number, page in enumerate(pages, 1):
            if not re.search(rf"Page {number} of {len(pages)}\b", page):
                yield f"{paper}: page {number} of {len(pages)} has no page number"
        inner = [(side - margin) * PIXELS_A_CM for side, margin in zip((wide, high), MARGINS, strict=True)]
        cdp(port, session, "Emulation.setEmulatedMedia", {"media": "print"})
        cdp(port, session, "Emulation.setDeviceMetricsOverride",
            {"width": int(inner[0]), "height": int(inner[1]), "deviceScaleFactor": 1, "mobile": False})
        for element in script(port, session, TOO_LARGE, inner):
            yield f"{paper}: cut: {element}"
        cdp(port, session, "Emulation.clearDeviceMetricsOverride", {})
        cdp(port, session, "Emulation.setEmulatedMedia", {"media": ""})


def cdp(port, session, command, parameters):
    return call(port, "POST", f"/session/{session}/goog/cdp/execute", {"cmd": command, "params": parameters})


def problems_of(port, session, file, verdict):
    yield from parse_errors(file)
    page = pathlib.Path(file).resolve().as_uri()
    # The browser's own start page loads things of its own; what it logged before does not count.
    call(port, "POST", f"/session/{session}/url", {"url": "about:blank"})
    for kind in ("browser", "performance"):
        call(port, "POST", f"/session/{session}/se/log", {"type": kind})
    call(port, "POST", f"/session/{session}/url", {"url": page})
    text = script(port, session, VISIBLE_TEXT)
    for expected in [verdict, "K-12", "SHA-256", "breathing air"]:
        if expected.lower() not in text.lower():
            yield f"not visible: {expected}"
    figures = script(port, session, FIGURES)
    if len(figures) < 2:
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
    yield from print_problems(port, session, file)


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
