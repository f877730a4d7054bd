/* Charts, focus on what is to mend, marks on a live answer, and paper. Pages work without it. */
(() => {
  "use strict";
  const plotlyAddress = document.currentScript.dataset.plotly;
  const PAPER_WIDTH_PX = 640;
  const NARROW_PX = 520;
  const SETTLED_MS = 150;
  const drawnNarrow = new WeakMap();
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  let plotly = null;
  document.documentElement.classList.add("js");

  const loadPlotly = () => (plotly ??= window.Plotly ? Promise.resolve(window.Plotly) : new Promise((done, fail) => {
    const script = document.createElement("script");
    script.src = plotlyAddress;
    script.onload = () => done(window.Plotly);
    script.onerror = fail;
    document.head.append(script);
  }));

  /* A figure names colours by their style-sheet name, "--slate", or "--slate/.15" for a thin wash. */
  const painter = (onPaper) => {
    const probe = document.createElement("i");
    if (onPaper) probe.className = "on-paper";
    document.body.append(probe);
    const style = getComputedStyle(probe);
    const paint = (value) => {
      if (Array.isArray(value)) return value.map(paint);
      if (value && typeof value === "object") return Object.fromEntries(Object.entries(value).map(([k, v]) => [k, paint(v)]));
      if (typeof value !== "string" || !value.startsWith("--")) return value;
      const [name, share] = value.split("/");
      const colour = style.getPropertyValue(name).trim();
      return share ? `color-mix(in srgb, ${colour} ${share * 100}%, transparent)` : colour;
    };
    const solid = (value) => JSON.parse(JSON.stringify(paint(value)), (key, v) => {
      if (typeof v !== "string" || !v.startsWith("color-mix")) return v;
      const [, hex, share] = v.match(/(#[0-9a-f]{3,6}) ([\d.]+)%/i);
      const full = hex.length === 4 ? hex.replace(/[0-9a-f]/gi, "$&$&") : hex;
      const [r, g, b] = [1, 3, 5].map((i) => parseInt(full.slice(i, i + 2), 16));
      return `rgba(${r},${g},${b},${share / 100})`;
    });
    return { solid, done: () => probe.remove() };
  };

  const merge = (base, over) => {
    const out = { ...base };
    for (const [key, value] of Object.entries(over ?? {})) {
      const both = value && typeof value === "object" && !Array.isArray(value) && base[key] && typeof base[key] === "object";
      out[key] = both ? merge(base[key], value) : value;
    }
    return out;
  };

  const axis = { gridcolor: "--rule", gridwidth: 1, zeroline: false, linecolor: "--rule", tickcolor: "--rule", fixedrange: true, automargin: true, tickfont: { color: "--soft" } };
  const baseLayout = (narrow) => ({
    paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)", showlegend: false, separators: ".\u202f", hovermode: "x unified", dragmode: false,
    font: { family: "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'Liberation Sans', sans-serif", size: narrow ? 12 : 13, color: "--ink" },
    margin: { l: narrow ? 34 : 44, r: narrow ? 10 : 16, t: 12, b: 32 },
    hoverlabel: { bgcolor: "--card", bordercolor: "--rule", font: { color: "--ink" } },
    xaxis: { ...axis, showgrid: false }, yaxis: axis, height: narrow ? 280 : 330,
  });

  const isNarrow = (plot) => plot.clientWidth < NARROW_PX;
  const drawOne = (plot, forPrint) => {
    const onPaper = forPrint || plot.closest(".chart").classList.contains("paper");
    const figure = JSON.parse(plot.dataset.figure);
    const width = onPaper ? PAPER_WIDTH_PX : undefined;
    const narrow = !onPaper && isNarrow(plot);
    drawnNarrow.set(plot, onPaper ? undefined : narrow);
    const { solid, done } = painter(onPaper);
    let layout = merge(baseLayout(narrow), figure.layout);
    if (narrow && figure.narrow) layout = merge(layout, figure.narrow);
    if (width) layout = { ...layout, width, autosize: false };
    const config = { responsive: !onPaper, staticPlot: onPaper, displayModeBar: false };
    const drawn = window.Plotly.newPlot(plot, solid(figure.data), solid(layout), config);
    done();
    return drawn.then(() => plot.classList.add("drawn"));
  };

  const plots = () => [...document.querySelectorAll("[data-figure]")];
  const drawAll = async () => {
    if (!plots().length) return;
    await loadPlotly();
    for (const plot of plots()) await drawOne(plot, false);
    document.documentElement.dataset.charts = "drawn";
  };

  /* Zoomed or turned: a chart whose width crosses the limit gets the other layout. */
  const crossed = (plot) => plot.clientWidth && (drawnNarrow.get(plot) ?? isNarrow(plot)) !== isNarrow(plot);
  let settling = 0;
  window.addEventListener("resize", () => {
    clearTimeout(settling);
    settling = setTimeout(() => { for (const plot of plots().filter(crossed)) drawOne(plot, false); }, SETTLED_MS);
  });

  /* A chart as a picture to keep: plotly's own export, on paper's colours whatever the theme. */
  const saveSvg = async (button) => {
    await loadPlotly();
    const { data, layout } = JSON.parse(document.getElementById(button.dataset.svg).dataset.figure);
    const { solid, done } = painter(true);
    const size = { width: 960, height: 420 };
    const whole = { ...merge(baseLayout(false), layout), ...size, paper_bgcolor: "#fff", plot_bgcolor: "#fff" };
    const figure = { data: solid(data), layout: solid(whole) };
    done();
    return window.Plotly.downloadImage(figure, { format: "svg", filename: button.dataset.name, ...size });
  };
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("[data-svg]");
    if (button) saveSvg(button);
  });

  /* A file too long to be read is not sent at all: nothing typed is lost. */
  document.addEventListener("submit", (event) => {
    const most = Number(event.target.dataset?.mostMb);
    const field = most && event.target.querySelector("input[type=file]");
    const file = field && field.files[0];
    if (!file || file.size <= most * 1024 ** 2) return;
    event.preventDefault();
    const said = document.getElementById(`${field.id}-error`);
    said.textContent = `“${file.name}” is ${Math.round(file.size / 1024 ** 2)} MB long; files of up to ${most} MB are read. It was not sent and nothing was changed.`;
    said.hidden = false;
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-describedby", `${field.id}-hint ${said.id}`);
    field.focus();
  });

  /* What is to mend; where a button has just saved, undone or restored something, the line that says so, and where it
     has brought a file or had it read, the heading of what came of it. */
  const focusSummary = () => document.querySelector("[data-focus]")?.focus();
  const focusSaved = () => {
    const [came] = performance.getEntriesByType("navigation");
    if (!came?.redirectCount || came.type !== "navigate" || document.querySelector("[data-focus]")) return;
    document.querySelector("#saved-line, [data-arrived]")?.focus();
  };

  /* The button of a question leads to the heading of its answer, which is scrolled to only where it is out of view. */
  const WORKED_OUT = "#worked-out";
  document.addEventListener("submit", (event) => {
    if (event.target.matches("form.ask[hx-get]")) event.target.action = event.target.action.replace(/#worked$/, WORKED_OUT);
  });
  const focusWorkedOut = () => {
    if (window.location.hash !== WORKED_OUT) return;
    history.replaceState(history.state, "", window.location.pathname + window.location.search);
    const heading = document.querySelector("#worked h1");
    if (!heading || document.querySelector("[data-focus]")) return;
    heading.tabIndex = -1;
    heading.focus({ preventScroll: true });
    heading.scrollIntoView({ block: "nearest", behavior: "instant" });
  };

  /* Enter in a question asks it again in place: the caret stays where it is, the page is not loaded anew. */
  document.addEventListener("submit", (event) => {
    const field = document.activeElement;
    if (!window.htmx || !event.target.matches("form.ask[hx-get]") || event.submitter?.name) return;
    if (!field?.matches("input, select") || field.form !== event.target) return;
    event.preventDefault();
    typedOut(event.target);
    field.dispatchEvent(new Event("change", { bubbles: true }));
  });

  /* Live answers: while typing nothing is blamed, until Enter, a rest or leaving the field; the last answer stays and says
     what it is for. */
  const RESTED_MS = 2000;
  let resting = 0;
  const live = () => document.querySelector("form.ask[hx-get]");
  const unblame = (form) => {
    for (const field of form.querySelectorAll("[data-blamed]")) {
      const others = (field.getAttribute("aria-describedby") ?? "").split(" ").filter((id) => id && id !== field.dataset.blamed);
      if (others.length) field.setAttribute("aria-describedby", others.join(" "));
      else field.removeAttribute("aria-describedby");
      field.removeAttribute("aria-invalid");
      delete field.dataset.blamed;
    }
  };
  const blame = (form) => {
    if ("typing" in form.dataset) return;
    unblame(form);
    for (const link of document.querySelectorAll("#problems li > a:first-child")) {
      const field = document.getElementById(link.hash.slice(1));
      if (!field || field.form !== form) continue;
      field.dataset.blamed = link.id;
      field.setAttribute("aria-invalid", "true");
      field.setAttribute("aria-describedby", `${field.getAttribute("aria-describedby") ?? ""} ${link.id}`.trim());
    }
  };
  const typedOut = (form) => {
    clearTimeout(resting);
    delete form.dataset.typing;
    blame(form);
  };
  document.addEventListener("input", (event) => {
    const form = event.target.closest?.("form.ask");
    if (!form) return;
    form.dataset.typing = "";
    clearTimeout(resting);
    resting = setTimeout(typedOut, RESTED_MS, form);
  });
  document.addEventListener("focusout", (event) => {
    const form = event.target.closest?.("form.ask");
    if (form) typedOut(form);
  });
  const came = (status, trouble) => {
    document.getElementById("answer")?.toggleAttribute("data-stale", status !== 200);
    document.getElementById("trouble")?.replaceChildren(trouble);
    if (status !== 200) return;
    document.getElementById("problems")?.replaceChildren();
    if (live()) unblame(live());
  };
  const KEPT = "What you typed is still here; the answer shown is for your last complete figures.";
  const troubleOf = ({ text, response }) => {
    const inWords = response.headers.get("content-type")?.startsWith("text/plain");
    return inWords ? text : `Greyspell answered with error ${response.status}. ${KEPT}`;
  };
  document.addEventListener("htmx:after:request", (event) => {
    const { ctx } = event.detail;
    if (ctx.sourceElement !== live()) return;
    const { status } = ctx.response;
    const failed = status !== 200 && status !== 422;
    if (failed) event.preventDefault();
    came(status, failed ? troubleOf(ctx) : "");
  });
  document.addEventListener("htmx:error", (event) => {
    const ctx = event.detail?.ctx;
    if (ctx && ctx.sourceElement === live()) came(0, `Greyspell does not answer; see that it still runs. ${KEPT}`);
  });
  const take = (link, query) => link.setAttribute("href", query ? `${link.pathname}?${query}` : link.pathname);
  /* A few sentences of another page, put in beside an answer, leave its charts as they are. */
  document.addEventListener("htmx:after:swap", ({ detail }) => {
    const taken = document.getElementById("carried");
    if (live()) blame(live());
    if (taken) for (const link of document.querySelectorAll("a[data-carries]")) take(link, taken.dataset.query);
    const ours = document.getElementById("for-sheet");
    if (ours && !taken?.dataset.query) for (const link of document.querySelectorAll('nav a[href^="/sheet"]')) take(link, ours.search.slice(1));
    if (!detail.ctx?.sourceElement?.closest?.(".within")) drawAll();
  });

  /* A link of the menu followed before the answer to what was typed is there takes along what the form says. */
  const queryOf = (form) => String(new URLSearchParams(new FormData(form)));
  const addressed = () => String(new URLSearchParams(window.location.search));
  let opened = null;
  window.addEventListener("pageshow", () => { opened = live() && { asked: queryOf(live()), address: addressed() }; });
  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("a[data-carries]"), form = live(), taken = document.getElementById("carried");
    if (!link || !form || !taken || !opened) return;
    const asked = queryOf(form), address = addressed();
    if (asked === address || (asked === opened.asked && address === opened.address)) return;
    const names = taken.dataset.names.split(" ");
    const goes = [...new FormData(form)].filter(([name]) => names.some((start) => name.startsWith(start)));
    take(link, String(new URLSearchParams(goes)));
  }, true);

  /* Paper: everything unfolded but the numbers behind a drawn chart; charts still, of a width that fits A4 and Letter. */
  let unfolded = [];
  window.addEventListener("beforeprint", () => {
    unfolded = [...document.querySelectorAll("main details:not([open])")].filter((one) => !one.closest(".chart"));
    for (const one of unfolded) one.open = true;
    if (window.Plotly) for (const plot of plots()) drawOne(plot, true);
  });
  window.addEventListener("afterprint", () => {
    for (const one of unfolded) one.open = false;
    if (window.Plotly) for (const plot of plots()) drawOne(plot, false);
  });

  dark.addEventListener("change", drawAll);
  /* A choice made with the pointer goes at once; by keyboard, where arrows choose, the button beside it goes. */
  let pointedAt = null;
  document.addEventListener("pointerdown", (event) => { pointedAt = event.target.closest?.("select[data-go]"); });
  document.addEventListener("keydown", () => { pointedAt = null; });
  document.addEventListener("change", (event) => {
    if (pointedAt && event.target === pointedAt) event.target.form.requestSubmit();
  });
  document.addEventListener("click", (event) => { if (event.target.closest?.("[data-print]")) window.print(); });
  /* Back to the folded menu opens it. */
  document.addEventListener("click", (event) => {
    if (event.target.closest?.(".folded-only")) document.querySelector(".menu").open = true;
  });
  /* A table wider than its box is scrolled by keyboard too. */
  const nameOf = (box) => {
    const heads = [...document.querySelectorAll("h1, h2, h3")].filter((one) => one.compareDocumentPosition(box) & Node.DOCUMENT_POSITION_FOLLOWING);
    const near = box.querySelector("caption, figcaption") ?? box.closest("figure")?.querySelector("figcaption") ?? box.closest("details")?.querySelector("summary");
    return (near ?? heads.at(-1))?.textContent.trim() ?? "";
  };
  const reachWide = () => {
    for (const box of document.querySelectorAll(".wide")) {
      const reached = box.scrollWidth > box.clientWidth && { tabindex: 0, role: "group", "aria-label": nameOf(box) };
      for (const name of ["tabindex", "role", "aria-label"]) {
        if (reached) box.setAttribute(name, reached[name]);
        else box.removeAttribute(name);
      }
    }
  };
  window.addEventListener("resize", reachWide);
  document.addEventListener("greyspell:renewed", () => { reachWide(); drawAll(); });
  document.addEventListener("toggle", reachWide, true);
  const start = () => { focusSummary(); focusWorkedOut(); reachWide(); drawAll(); };
  window.addEventListener("load", () => setTimeout(focusSaved));
  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", start); else start();
})();
