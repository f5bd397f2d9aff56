# SPDX-License-Identifier: Apache-2.0
"""The page in a real browser, without a network."""

from pathlib import Path

import pytest

import invented
import invented_hearing
from mixwright.report.page import song_page
from mixwright.report.stills import stills
from reference.chromium import CHROMIUM, running_browser

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="needs chromium"),
    pytest.mark.filterwarnings("default"),
]

#: Contrast by WCAG 2.2, success criterion 1.4.3, relative luminance as defined there; text over the page's own colour.
CONTRAST = """
() => {
  const linear = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4 };
  const luminance = c => { const [r, g, b] = c.match(/[\\d.]+/g).map(Number);
    return 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b) };
  const paper = luminance(getComputedStyle(document.body).backgroundColor);
  let worst = 99, where = '';
  for (const element of document.body.querySelectorAll('*')) {
    const own = [...element.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own) continue;
    const style = getComputedStyle(element);
    const ink = luminance(element.namespaceURI.endsWith('svg') ? style.fill : style.color);
    const ratio = (Math.max(ink, paper) + 0.05) / (Math.min(ink, paper) + 0.05);
    if (ratio < worst) { worst = ratio; where = element.outerHTML.slice(0, 80) }
  }
  return [worst, where];
}
"""


#: Words in a picture that lie on each other, or stand out of it sideways.
OVERLAPS = """
() => {
  const found = [];
  for (const picture of document.querySelectorAll('svg[aria-hidden]')) {
    if (!picture.getBoundingClientRect().width) continue;
    const texts = [...picture.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()])
      .filter(([, box]) => box.width);
    const frame = picture.getBoundingClientRect();
    texts.forEach(([told, a], i) => {
      if (a.left < frame.left - 4 || a.right > frame.right + 4) found.push(told);
      for (const [other, b] of texts.slice(i + 1))
        if (a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 4 && b.top < a.bottom - 4)
          found.push(told + ' | ' + other);
    });
  }
  return found;
}
"""


@pytest.fixture(scope="module")
def page_file(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("page") / "page.html"
    page = song_page(
        invented.song(),
        invented.start_result(),
        invented.measure_result(),
        invented.plan_result(),
        invented.mix_result(),
        invented.deliver_result(),
    )
    path.write_text(page, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def browser():
    pytest.importorskip("playwright.sync_api")
    with running_browser() as running:
        yield running


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_page(browser, page_file, width, scheme):
    context = browser.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme, offline=True)
    page = context.new_page()
    complaints, requests = [], []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: requests.append(request.url))
    page.goto(page_file.as_uri())
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert requests == [page_file.as_uri()]
    assert complaints == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    worst, where = page.evaluate(CONTRAST)
    assert worst >= 4.5, where
    assert page.evaluate(OVERLAPS) == []
    context.close()


def test_the_keyboard_reaches_the_switch_and_it_filters(browser, page_file):
    page = browser.new_page()
    page.goto(page_file.as_uri())
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "glance"
    rows = page.locator(".levels .row.level:not(.axis)")
    assert rows.filter(visible=True).count() == 22
    page.focus("#only-outside")
    page.keyboard.press("Space")
    assert rows.filter(visible=True).count() == 3
    page.close()


def test_the_keyboard_opens_what_is_folded_away(browser, page_file):
    page = browser.new_page()
    page.goto(page_file.as_uri())
    table = page.locator("#voice .scroll")
    assert not table.is_visible()
    page.focus("#voice summary")
    page.keyboard.press("Enter")
    assert table.is_visible()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Phrases"
    page.close()


def test_the_keyboard_opens_a_decided_move(browser, page_file):
    page = browser.new_page()
    page.goto(page_file.as_uri())
    decided = page.locator("#moves .card.accepted details").first
    assert decided.count() == 1
    evidence = decided.locator(".id")
    assert not evidence.is_visible()
    decided.locator("summary").focus()
    page.keyboard.press("Enter")
    assert evidence.is_visible()
    page.close()


def test_stills_are_pictures_with_all_words_in_them(browser, tmp_path):
    for name, svg in stills(invented_hearing.hearing_result(), invented.SECTIONS, 202.0).items():
        path = tmp_path / f"{name}.svg"
        path.write_text(svg, encoding="utf-8")
        page = browser.new_page(viewport={"width": 960, "height": 800})
        page.goto(path.as_uri())
        outside = page.evaluate(
            "() => [...document.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()])"
            ".filter(([, box]) => box.width && (box.left < 0 || box.right > 960)).map(([told]) => told)"
        )
        assert outside == []
        page.close()


def test_policy_forbids_what_is_not_ours(browser, page_file, tmp_path):
    injected = page_file.read_text().replace("</main>", "<script>document.title = 'ran'</script><img src=x:y></main>")
    path = tmp_path / "injected.html"
    path.write_text(injected)
    page = browser.new_page()
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    page.goto(path.as_uri())
    assert page.title() != "ran"
    assert any("Content Security Policy" in text for text in complaints)
    page.close()
