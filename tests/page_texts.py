"""What a browser finds on a page: every text that a person can come to see, and every text that has no room."""

from __future__ import annotations

from dataclasses import dataclass

from playwright.sync_api import Page

_TEXTS = """() => {
  const said = [];
  const add = (where, text) => { if (text && text.trim()) { said.push([where, text.trim()]); } };
  const skip = new Set(["SCRIPT", "STYLE", "NOSCRIPT", "TEMPLATE"]);
  const walk = (element) => {
    if (skip.has(element.tagName) || element.classList.contains("modebar")) { return; }
    if (!(element instanceof SVGElement) && element.tagName !== "OPTION" && !element.checkVisibility({ visibilityProperty: true })) { return; }
    const where = element.tagName.toLowerCase() + (typeof element.className === "string" && element.className ? "." + element.className.split(" ")[0] : "");
    for (const name of ["aria-label", "title", "placeholder", "alt"]) { add(where + "@" + name, element.getAttribute(name)); }
    if (element.hasAttribute("data-unformatted")) { add(where, element.getAttribute("data-unformatted")); return; }
    for (const child of element.childNodes) {
      if (child.nodeType === 3) { add(where, child.textContent); }
      if (child.nodeType === 1) { walk(child); }
    }
  };
  walk(document.body);
  const strings = (value, where) => {
    if (typeof value === "string") { add(where, value); }
    else if (value && typeof value === "object" && value.length !== undefined) { Array.from(value).forEach((one) => strings(one, where)); }
  };
  document.querySelectorAll(".js-plotly-plot").forEach((graph) => {
    (graph.data || []).forEach((trace) => { ["text", "hovertext", "customdata", "hovertemplate", "texttemplate"].forEach((key) => strings(trace[key], "figure " + key)); });
  });
  return said;
}"""

_CRAMPED = """() => {
  const found = [];
  const name = (one) => one.tagName.toLowerCase() + "." + String(one.className.baseVal === undefined ? one.className : one.className.baseVal);
  const own = (one) => Array.from(one.childNodes).some((child) => child.nodeType === 3 && child.textContent.trim());
  document.querySelectorAll("body *").forEach((one) => {
    if (one instanceof SVGElement || !own(one) || one.closest(".skip, [hidden], script, style, noscript")) { return; }
    const style = getComputedStyle(one);
    if (style.display === "inline" || style.display === "none" || style.visibility === "hidden" || one.clientWidth === 0) { return; }
    if (/auto|scroll/.test(style.overflowX)) { return; }
    if (one.scrollWidth > one.clientWidth + 1) { found.push([name(one), one.textContent.trim().slice(0, 60), one.scrollWidth - one.clientWidth]); }
  });
  document.querySelectorAll(".js-plotly-plot .main-svg:first-child").forEach((svg) => {
    const box = svg.getBoundingClientRect();
    const texts = Array.from(svg.closest(".js-plotly-plot").querySelectorAll("text")).filter((text) => text.textContent.trim() && !text.closest(".hoverlayer"));
    texts.forEach((text) => {
      const at = text.getBoundingClientRect();
      const out = Math.max(box.left - at.left, at.right - box.right, box.top - at.top, at.bottom - box.bottom);
      if (at.width > 0 && out > 2) { found.push(["figure", text.textContent.trim().slice(0, 60), Math.round(out)]); }
    });
    for (let i = 0; i < texts.length; i += 1) {
      for (let j = i + 1; j < texts.length; j += 1) {
        const a = texts[i].getBoundingClientRect(), b = texts[j].getBoundingClientRect();
        const across = Math.min(a.right, b.right) - Math.max(a.left, b.left), down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (across > 3 && down > 3) { found.push(["figure, one over another", texts[i].textContent.trim().slice(0, 40) + " / " + texts[j].textContent.trim().slice(0, 40), Math.round(Math.min(across, down))]); }
      }
    }
  });
  return found;
}"""


@dataclass(frozen=True, slots=True)
class Seen:
    """A text, and the element or attribute that bears it."""

    where: str
    text: str


def open_all(page: Page) -> None:
    """Open whatever can be unfolded."""
    page.evaluate("document.querySelectorAll('main details').forEach((one) => { one.open = true; })")


def texts(page: Page) -> list[Seen]:
    """Give every text of the page: what stands on it, what names it to those who do not see it, what a figure says on hover."""
    return [Seen(where, text) for where, text in page.evaluate(_TEXTS)]


def cramped(page: Page) -> list[tuple[str, str, int]]:
    """Give what sticks out of its own box or its picture, and labels of a picture that lie over one another, in pixels."""
    return [(where, text, by) for where, text, by in page.evaluate(_CRAMPED)]


def settled(page: Page) -> None:
    """Wait until nothing is asked for any more and the figures are drawn."""
    page.locator("main h1").first.wait_for()
    page.wait_for_load_state("networkidle")
    drawn = "Array.from(document.querySelectorAll('.js-plotly-plot')).every((one) => one.querySelector('.main-svg') !== null)"
    for _ in range(600):  # a question that the page asks itself again would be forbidden by its own security rules
        if page.evaluate(drawn):
            return
        page.wait_for_timeout(100)
    raise AssertionError("the figures are not drawn within a minute")
