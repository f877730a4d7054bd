/* What a page is looked at for: each function of `looking` returns what is wrong, a line a finding. */
window.looking = (() => {
  "use strict";
  const REACHED = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";
  const shown = (e) => e.getClientRects().length > 0
    && e.checkVisibility({ visibilityProperty: true, contentVisibilityAuto: true });
  const all = (what) => [...document.querySelectorAll(what)].filter(shown);
  const named = (e) => {
    const text = (e.textContent || e.value || "").trim().replace(/\s+/g, " ").slice(0, 40);
    return `${e.tagName.toLowerCase()}#${e.id}.${e.getAttribute("class") ?? ""} “${text}”`;
  };
  const onlyHeard = (e) => e.closest(".unseen, .away, .as-before, .skip");
  const failing = (elements, fails) => elements.map((e) => [fails(e), e]).filter(([why]) => why)
    .map(([why, e]) => `${why}: ${named(e)}`);
  const wider = () => {
    const root = document.documentElement;
    const by = root.scrollWidth - root.clientWidth;
    return by > 0 ? [`the page scrolls sideways by ${by} px of ${root.clientWidth}`] : [];
  };

  const numbers = (colour) => colour.match(/[\d.]+/g).map(Number);
  const clear = (colour) => numbers(colour)[3] === 0;
  const luminance = (colour) => {
    const [r, g, b] = numbers(colour).slice(0, 3).map((c) => c / 255)
      .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (one, other) => {
    const [darker, lighter] = [luminance(one), luminance(other)].sort((a, b) => a - b);
    return (lighter + 0.05) / (darker + 0.05);
  };
  const ground = (e) => {
    const colour = getComputedStyle(e).backgroundColor;
    return clear(colour) && e.parentElement ? ground(e.parentElement) : colour;
  };

  /* A language, one h1, nothing out of the order of the page. */
  const frame = () => {
    const heads = all("h1").map((e) => e.textContent.trim());
    return [
      ...(document.documentElement.lang === "en" ? [] : ["no language"]),
      ...(heads.length === 1 && heads[0] ? [] : [`its h1: ${JSON.stringify(heads)}`]),
      ...failing(all("[tabindex]"), (e) => e.tabIndex > 0 && "out of the order of the page"),
    ];
  };

  /* Every control takes the focus and shows it by a mark that nothing cuts on two sides or more. */
  const outline = (e) => {
    const { outlineStyle, outlineWidth, outlineColor, outlineOffset } = getComputedStyle(e);
    const width = outlineStyle === "none" ? 0 : parseFloat(outlineWidth);
    return { width, colour: outlineColor, out: Math.max(0, width + parseFloat(outlineOffset)) };
  };
  const cutting = (e, out) => {
    const box = e.getBoundingClientRect();
    for (let up = e.parentElement; up && up !== document.body; up = up.parentElement) {
      if (getComputedStyle(up).overflowX === "visible") continue;
      const edge = up.getBoundingClientRect();
      const over = [edge.left - box.left, box.right - edge.right, edge.top - box.top, box.bottom - edge.bottom];
      if (over.filter((by) => by + out > 0.5).length > 1) return up;
    }
    return null;
  };
  const focus = () => {
    const wrong = failing(all(REACHED).filter((e) => e.tabIndex >= 0 && !e.disabled), (e) => {
      const before = outline(e);
      e.focus({ preventScroll: true, focusVisible: true });
      const after = outline(e);
      if (document.activeElement !== e) return "takes no focus";
      if (after.width < 2 || before.width) return "focus is not seen";
      const at = onlyHeard(e) ? ground(e) : ground(e.parentElement);
      if (contrast(after.colour, at) < 3) return `the mark of focus fades, ${after.colour} on ${at}`;
      return cutting(e, after.out) && `the mark of focus is cut by ${named(cutting(e, after.out)).slice(0, 60)}`;
    });
    document.activeElement.blur();
    return wrong;
  };

  /* The page never scrolls sideways; a box that does is reached by keyboard, named, and shows its captions whole. */
  const reflow = () => {
    const boxes = all("main *").filter((e) => !e.matches("select, input, textarea")
      && ["auto", "scroll"].includes(getComputedStyle(e).overflowX) && e.scrollWidth > e.clientWidth + 1);
    const right = (e) => {
      const text = document.createRange();
      text.selectNodeContents(e);
      return text.getBoundingClientRect().right;
    };
    return [
      ...wider(),
      ...failing(boxes, (e) => e.tabIndex < 0 && "scrolls, but not by keyboard"),
      ...failing(boxes, (e) => !(e.ariaLabel && e.role) && "scrolls, but has no name"),
      ...boxes.flatMap((box) => failing([...box.querySelectorAll("caption")].filter(shown),
        (e) => right(e) > box.getBoundingClientRect().right + 1 && "a caption is cut")),
    ];
  };

  /* What is pressed is 44 px high, but for a link in a sentence or a list. */
  const targets = () => {
    const pressed = all("a, button, select, summary, input:not([type=hidden])")
      .map((e) => (e.matches("[type=checkbox]") ? e.closest("label") : e));
    return failing(pressed.filter((e) => !e.closest("p, li a, .skip")), (e) => {
      const { width, height } = e.getBoundingClientRect();
      return width > 0 && height > 0 && height < 43.5 && `only ${height} px high`;
    });
  };

  /* WCAG 2.2, 1.4.12: the spacing that must do no harm. */
  const space = () => {
    const sheet = new CSSStyleSheet();
    sheet.insertRule("p { margin-bottom: 2em !important }");
    sheet.insertRule(`* { line-height: 1.5 !important; letter-spacing: .12em !important;
      word-spacing: .16em !important }`);
    document.adoptedStyleSheets = [sheet];
  };
  const unspace = () => { document.adoptedStyleSheets = []; };

  const says = (e) => [...e.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.data.trim());
  /* No text is cut by a box that hides what is over, nor leaves a box of its own. */
  const cut = () => {
    const boxes = all("main *, header *").filter((e) => !e.closest("svg, .plot, select") && !onlyHeard(e)
      && !e.matches("input, textarea"));
    const hides = ({ overflowX, overflowY }) => [overflowX, overflowY].some((way) => ["hidden", "clip"].includes(way));
    const over = (e) => {
      const edge = e.getBoundingClientRect();
      const text = document.createRange();
      text.selectNodeContents(e);
      return [...text.getClientRects()].some((one) => one.width > 0
        && (one.right > edge.right + 2 || one.bottom > edge.bottom + 2 || one.left < edge.left - 2));
    };
    const boxed = boxes.filter((e) => says(e) && e.clientHeight && getComputedStyle(e).display !== "inline"
      && e.matches("button, a, th, td, label, dd, dt, legend, summary"));
    return [
      ...wider(),
      ...failing(boxes.filter((e) => hides(getComputedStyle(e))), (e) => over(e) && "text is cut"),
      ...failing(boxed, (e) => e.scrollHeight > e.clientHeight + 3 && "text leaves its box"),
      ...failing(all("select").filter((e) => getComputedStyle(e).appearance === "none"),
        (e) => e.scrollHeight > e.clientHeight + 2 && "text is cut"),
    ];
  };

  /* Nothing moves. */
  const still = () => ["", "::before", "::after"].flatMap((part) => failing([...document.querySelectorAll("*")], (e) => {
    const { transitionDuration, animationName } = getComputedStyle(e, part || null);
    return (/[1-9]/.test(transitionDuration) || animationName !== "none") && `moves${part}`;
  }));

  /* Every chart is a picture with a name and its numbers as a table. */
  const charts = () => failing([...document.querySelectorAll(".plot")], (e) => {
    const named_by = document.getElementById(e.getAttribute("aria-labelledby"));
    const rows = document.getElementById(e.getAttribute("aria-details"))?.querySelector("td, tbody th");
    if (e.getAttribute("role") !== "img") return "a chart is no picture";
    if (!named_by?.textContent.trim()) return "a chart without a name";
    return !rows && "a chart without its numbers";
  });

  /* With colours forced by the system edges of buttons, text of charts, the open page and triangles are still seen. */
  const forced = () => [
    ...failing(all("button:not(.plain), .button").filter((e) => !onlyHeard(e)), (e) => {
      const { borderTopWidth, borderTopColor } = getComputedStyle(e);
      return (parseFloat(borderTopWidth) < 1 || contrast(borderTopColor, ground(e.parentElement)) < 3)
        && "a button without an edge";
    }),
    ...failing([...document.querySelectorAll(".plot text")].filter((e) => e.textContent.trim()),
      (e) => contrast(getComputedStyle(e).fill, ground(e)) < 4.5 && "text of a chart fades"),
    ...failing(all("nav a:not([aria-current])"), (e) => {
      const { borderLeftWidth, borderLeftColor } = getComputedStyle(e);
      return parseFloat(borderLeftWidth) > 0 && contrast(borderLeftColor, ground(e)) > 1.5
        && "looks like the page that is open";
    }),
    ...failing(all("summary"), (e) => {
      const { borderTopColor } = getComputedStyle(e, "::before");
      return !clear(borderTopColor) && contrast(borderTopColor, ground(e)) > 1.5 && "the triangle is a box";
    }),
  ];

  /* A live answer is announced once, in a short sentence; how far a trial is stands in a place of its own. */
  const status = () => {
    if (!document.querySelector("form.ask[hx-get]") || !document.querySelector("#answer")) return [];
    const said = all("#answer [role=status]").filter((e) => !e.closest("#tried")).map((e) => e.textContent.trim());
    const refused = document.querySelector(".summary");
    return [
      ...(document.querySelector("#problems[role=alert]") ? [] : ["what is to mend is not announced"]),
      ...(refused || said.length === 1 ? [] : [`${said.length} places announce the answer`]),
      ...said.filter((text) => !text || text.length > 200).map((text) => `long to listen to: ${text}`),
    ];
  };

  const judged = async (context, options) => {
    const { violations } = await window.axe.run(context, { resultTypes: ["violations"], ...options });
    return violations.flatMap(({ id, nodes }) => nodes.map(({ html }) => `${id}: ${html.slice(0, 120)}`));
  };
  /* Every rule but that of contrast, which takes as long as all others. */
  const axe = (tags) => judged(document, { runOnly: tags, rules: { "color-contrast": { enabled: false } } });
  /* Contrast of each kind of text, once in a tab: what has the same tags, classes and attributes up to the root. */
  const kind = (e) => `${e.parentElement ? kind(e.parentElement) : ""} ${e.tagName} ${e.getAttribute("class")}`
    + ` ${e.getAttributeNames()} ${e.getAttribute("type")} ${e.getAttribute("scope")}`;
  const contrasts = (how) => {
    const kept = `seen ${how}`;
    const seen = new Set(JSON.parse(sessionStorage.getItem(kept)));
    const texts = all("body *").filter((e) => !e.closest(".plot") && (e.matches("input, select, textarea") || says(e)));
    const kinds = new Map(texts.map((e) => [kind(e), e]).filter(([name]) => !seen.has(name)));
    sessionStorage.setItem(kept, JSON.stringify([...seen, ...kinds.keys()]));
    return kinds.size ? judged([...kinds.values()], { runOnly: { type: "rule", values: ["color-contrast"] } }) : [];
  };

  /* Charts follow the theme and the width of the page after a moment. */
  const drawn = () => !document.querySelector("[data-figure]") || document.documentElement.dataset.charts === "drawn";
  const settled = () => {
    const probe = document.body.appendChild(document.createElement("i"));
    probe.style.color = "var(--soft)";
    const soft = getComputedStyle(probe).color;
    probe.style.forcedColorAdjust = "none";
    const unforced = getComputedStyle(probe).color;
    probe.remove();
    return [...document.querySelectorAll(".plot:not(.paper .plot)")].filter((plot) => plot.clientWidth).every((plot) => {
      const tick = plot.querySelector(".xtick text, .ytick text");
      return [...plot.querySelectorAll("svg.main-svg")].every((svg) => svg.clientWidth <= plot.clientWidth + 1)
        && (!tick || [soft, unforced].includes(getComputedStyle(tick).fill));
    });
  };
  const unfold = () => { for (const one of document.querySelectorAll("main details")) one.open = true; };

  return {
    axe, contrasts, frame, focus, reflow, targets, space, unspace, cut, still, charts, forced, status,
    drawn, settled, unfold,
  };
})();
