"""What a page is looked at for, as scripts that a browser runs in it; each returns what is wrong, a line a finding."""

from __future__ import annotations

from importlib.resources import files

AXE = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
AXE_RUN = """async (only) => (await axe.run(document, { runOnly: only, resultTypes: ["violations"] })).violations
  .flatMap((rule) => rule.nodes.map((node) => `${rule.id}: ${node.html.slice(0, 120)}`))"""
WCAG = {
    "type": "tag",
    "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
}
BY_COLOUR = {"type": "rule", "values": ["color-contrast"]}
"""The rule that depends on the theme."""
BY_WIDTH = {"type": "rule", "values": ["color-contrast", "target-size", "scrollable-region-focusable", "link-in-text-block"]}
"""The rules that depend on how wide a page is."""

_HELPERS = """
const shown = (e) => e.checkVisibility({ visibilityProperty: true, contentVisibilityAuto: true }) && e.getClientRects().length > 0;
const named = (e) => `${e.tagName.toLowerCase()}#${e.id}.${e.className} “${(e.textContent || e.value || "").trim().slice(0, 40)}”`;
const all = (what) => [...document.querySelectorAll(what)].filter(shown);
const FOCUSABLE = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";
const unseen = (e) => e.closest(".unseen, .away, .as-before, .skip");
const wrong = [];
"""


def _script(body: str) -> str:
    return "() => {" + _HELPERS + body + "\nreturn wrong; }"


FRAME = _script("""
if (document.documentElement.lang !== "en") wrong.push("no language");
const heads = all("h1").map((e) => e.textContent.trim());
if (heads.length !== 1 || !heads[0]) wrong.push(`its h1: ${JSON.stringify(heads)}`);
for (const e of all("[tabindex]")) if (e.tabIndex > 0) wrong.push(`out of the order of the page: ${named(e)}`);
""")
"""A language, one h1, nothing out of the order of the page."""

FOCUS = _script("""
const told = (e) => { const s = getComputedStyle(e); return [s.outlineStyle, s.outlineWidth, s.outlineColor, s.boxShadow].join(" "); };
for (const e of all(FOCUSABLE)) {
  if (e.tabIndex < 0 || e.disabled) continue;
  const before = told(e);
  e.focus({ preventScroll: true, focusVisible: true });
  const style = getComputedStyle(e);
  if (document.activeElement !== e) wrong.push(`takes no focus: ${named(e)}`);
  else if (told(e) === before || style.outlineStyle === "none" || parseFloat(style.outlineWidth) < 2) wrong.push(`focus is not seen: ${named(e)}`);
  else {
    const box = e.getBoundingClientRect(), out = Math.max(0, parseFloat(style.outlineOffset) + parseFloat(style.outlineWidth));
    let cut = "";
    for (let up = e.parentElement; up && up !== document.body; up = up.parentElement) {
      if (getComputedStyle(up).overflowX === "visible") continue;
      const edge = up.getBoundingClientRect();
      const sides = [box.left - out < edge.left - 0.5, box.right + out > edge.right + 0.5, box.top - out < edge.top - 0.5, box.bottom + out > edge.bottom + 0.5];
      if (sides.filter(Boolean).length > 1) cut = named(up);
    }
    if (cut) wrong.push(`the mark of focus is cut: ${named(e)} in ${cut.slice(0, 60)}`);
  }
}
document.activeElement.blur();
""")
"""Every control takes the focus and shows it by a mark that nothing cuts on two sides or more."""

REFLOW = _script("""
const root = document.documentElement;
if (root.scrollWidth > root.clientWidth) {
  const wide = all("main *").filter((e) => e.getBoundingClientRect().right > root.clientWidth + 1 && !e.closest(".wide, svg"));
  wrong.push(`the page scrolls sideways, ${root.scrollWidth} px in ${root.clientWidth}: ${wide.slice(0, 2).map(named)}`);
}
for (const e of all("main *")) {
  const style = getComputedStyle(e);
  if (!["auto", "scroll"].includes(style.overflowX) || e.scrollWidth <= e.clientWidth + 1 || e.matches("select, input, textarea")) continue;
  if (e.tabIndex < 0) wrong.push(`scrolls, but not by keyboard: ${named(e)}`);
  if (!e.ariaLabel && !e.getAttribute("aria-labelledby")) wrong.push(`scrolls, but has no name: ${named(e)}`);
  for (const line of e.querySelectorAll("caption")) {
    const text = document.createRange();
    text.selectNodeContents(line);
    if (text.getBoundingClientRect().right > e.getBoundingClientRect().right + 1) wrong.push(`a caption is cut: ${named(line)}`);
  }
}
""")
"""The page never scrolls sideways; a box that does is reached by keyboard, named, and shows its captions whole."""

SPACED = """() => {
  const sheet = new CSSStyleSheet();
  sheet.replaceSync("* { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important } p { margin-bottom: 2em !important }");
  document.adoptedStyleSheets = [sheet];
}"""
"""WCAG 2.2, 1.4.12: the spacing that must do no harm."""
UNSPACED = "() => { document.adoptedStyleSheets = []; }"
CUT = _script("""
for (const e of all("main *, header *")) {
  if (e.closest("svg, .plot") || unseen(e) || e.matches("select, input, textarea, option")) continue;
  const style = getComputedStyle(e);
  if ([style.overflowX, style.overflowY].some((way) => ["hidden", "clip"].includes(way))) {
    const edge = e.getBoundingClientRect(), text = document.createRange();
    text.selectNodeContents(e);
    if ([...text.getClientRects()].some((one) => one.width && (one.right > edge.right + 2 || one.bottom > edge.bottom + 2 || one.left < edge.left - 2))) wrong.push(`text is cut: ${named(e)}`);
  }
  const own = [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim());
  if (own && style.display !== "inline" && e.matches("button, a, th, td, label, dd, dt, legend, summary") && e.scrollHeight > e.clientHeight + 3 && e.clientHeight) wrong.push(`text leaves its box: ${named(e)}`);
}
for (const e of all("select")) {
  if (getComputedStyle(e).appearance === "none" && e.scrollHeight > e.clientHeight + 2) wrong.push(`text is cut: ${named(e)}`);
}
const root = document.documentElement;
if (root.scrollWidth > root.clientWidth) wrong.push(`the page scrolls sideways, ${root.scrollWidth} px`);
""")
"""No text is cut."""

STILL = _script("""
for (const e of document.querySelectorAll("*")) {
  for (const part of ["", "::before", "::after"]) {
    const style = getComputedStyle(e, part || null);
    if (/[1-9]/.test(style.transitionDuration) || style.animationName !== "none") wrong.push(`moves: ${named(e)}${part}`);
  }
}
""")
"""Nothing moves."""

CHARTS = _script("""
for (const e of document.querySelectorAll(".plot")) {
  const figure = e.closest("figure");
  if (e.getAttribute("role") !== "img") wrong.push(`a chart is no picture: ${e.id}`);
  const caption = document.getElementById(e.getAttribute("aria-labelledby"));
  if (!caption?.textContent.trim()) wrong.push(`a chart without a name: ${e.id}`);
  const numbers = document.getElementById(e.getAttribute("aria-details"));
  if (!numbers?.matches("details, section, table, figure") || !numbers.querySelector("td, tbody th") && !numbers.matches("table")) wrong.push(`a chart without its numbers: ${e.id}`);
}
""")
"""Every chart is a picture with a name and its numbers as a table."""

FORCED = _script("""
const parsed = (text) => text.match(/[\\d.]+/g).slice(0, 3).map(Number);
const light = (text) => { const [r, g, b] = parsed(text).map((c) => { c /= 255; return c <= .04045 ? c / 12.92 : ((c + .055) / 1.055) ** 2.4; }); return .2126 * r + .7152 * g + .0722 * b; };
const contrast = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + .05) / (y + .05); };
const ground = getComputedStyle(document.body).backgroundColor;
const under = (e) => { for (let up = e; up; up = up.parentElement) { const c = getComputedStyle(up).backgroundColor; if (!/^rgba.*, 0[)]$/.test(c)) return c; } };
for (const e of all("button:not(.plain), .button")) {
  const style = getComputedStyle(e);
  if (!unseen(e) && (style.borderTopStyle === "none" || parseFloat(style.borderTopWidth) < 1 || contrast(style.borderTopColor, ground) < 3)) wrong.push(`a button without an edge: ${named(e)}`);
}
for (const e of document.querySelectorAll(".plot text")) {
  const colour = getComputedStyle(e).fill;
  if (e.textContent.trim() && contrast(colour, under(e)) < 4.5) { wrong.push(`text of a chart fades: ${e.textContent} ${colour} on ${under(e)}`); break; }
}
for (const e of all("nav a:not([aria-current])")) {
  if (parseFloat(getComputedStyle(e).borderLeftWidth) && contrast(getComputedStyle(e).borderLeftColor, ground) > 1.5) { wrong.push(`looks like the page that is open: ${named(e)}`); break; }
}
for (const e of all("summary")) {
  const style = getComputedStyle(e, "::before");
  if (contrast(style.borderTopColor, ground) > 1.5 && !/^rgba.*, 0[)]$/.test(style.borderTopColor)) { wrong.push(`the triangle is a box: ${named(e)}`); break; }
}
""")
"""With colours forced by the system: edges of buttons, text of charts, the open page and triangles are still seen."""

STATUS = _script("""
if (document.querySelector("form.ask[hx-get]") && document.querySelector("#answer")) {
  if (!document.querySelector("#problems[role=alert]")) wrong.push("what is to mend is not announced");
  const said = all("#answer [role=status]").filter((e) => !e.closest("#tried")).map((e) => e.textContent.trim());
  if (!document.querySelector(".summary") && said.length !== 1) wrong.push(`${said.length} places announce the answer`);
  for (const text of said) if (!text || text.length > 200) wrong.push(`long to listen to, ${text.length} letters: ${text.slice(0, 80)}`);
}
""")
"""A live answer is announced once, in a short sentence (how far a trial is stands in a place of its own)."""

DRAWN = "() => !document.querySelector('[data-figure]') || document.documentElement.dataset.charts === 'drawn'"
SETTLED = """() => [...document.querySelectorAll(".plot:not(.paper .plot)")].every((plot) => !plot.clientWidth
  || [...plot.querySelectorAll("svg.main-svg")].every((svg) => svg.clientWidth <= plot.clientWidth + 1))"""
"""Charts follow the width of the page after a moment."""
UNFOLD = "() => { for (const one of document.querySelectorAll('main details')) one.open = true; }"
