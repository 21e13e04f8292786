"use strict";
/* Shows the figures that the page carries as specifications, and links them: rows of a chosen plan are put in, a date or
   a ring is put over them. What they look like stands in the specifications; this script draws nothing by itself. */
const figures = (() => {
  const carried = JSON.parse(document.getElementById("data").textContent);
  const UNIX_JD = 2440587.5, DAY_MS = 864e5, RING_STEPS = 72, MANY = 1000;
  const KINDS = ["band", "cells", "across", "bars", "ring", "line", "error", "points", "open", "circled"];
  const LOOK = ["kind", "label", "tone", "symbol", "dashed", "fill", "small"];
  const made = {}; // name -> host, view, title, the mark the keyboard is at
  const tip = document.getElementById("tip");
  let said = () => null; // what a page wants to say of a mark instead of its numbers

  const hostOf = (name) => document.querySelector(`[data-figure="${name}"]`);

  function element(kind, attributes = {}, ...children) {
    const node = document.createElement(kind);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    node.append(...children);
    return node;
  }

  // --- rows, as swarm/report/chart_rows.py makes them ------------------------------------------------------

  const without = (row) => Object.fromEntries(Object.entries(row).filter(([, value]) => value !== null && value !== undefined && (typeof value !== "number" || Number.isFinite(value))));

  function layerRows(layer) {
    const { kind, x, y = [], to = [], said: texts = [], key = [] } = layer;
    if (kind === "ring") return x.length ? ellipse(layer) : [];
    return x.map((at, k) => {
      const row = { x: at, y: y[k] };
      if (kind === "across" || kind === "band") row.x2 = to[k];
      if (kind === "error") Object.assign(row, { y: y[k] - to[k], y2: y[k] + to[k] });
      if (kind === "bars") row.y2 = to.length ? to[k] : 0;
      return { ...row, said: texts[k], key: key[k] };
    });
  }

  function ellipse({ x, y, to: [larger, smaller, degrees] }) {
    const [c, s] = [Math.cos((degrees * Math.PI) / 180), Math.sin((degrees * Math.PI) / 180)];
    return Array.from({ length: RING_STEPS + 1 }, (_, k) => {
      const turn = (2 * Math.PI * k) / RING_STEPS;
      const [u, v] = [larger * Math.cos(turn), smaller * Math.sin(turn)];
      return { x: x[0] + u * c - v * s, y: y[0] + u * s + v * c };
    });
  }

  const lookAt = (looks, layer) => looks.findIndex((look) => LOOK.every((key) => look[key] === layer[key]));

  function rowsOf(name, layers) {
    const looks = made[name].looks, rows = Object.fromEntries(KINDS.map((kind) => [kind, []]));
    layers.forEach((layer, g) => {
      const m = lookAt(looks, layer);
      for (const row of layerRows(layer)) rows[layer.kind].push(without({ m, g, ...row }));
    });
    return rows;
  }

  // --- showing ---------------------------------------------------------------------------------------------

  /* Pixels across: what the place has; on paper what keeps letters as large as the text about them. */
  const onPaper = (place) => (place.closest(".alone") ? 640 : place.closest(".two") ? 500 : 980);
  const roomFor = (place, paper = matchMedia("print").matches) => (paper ? onPaper(place) : Math.max(place.clientWidth, 260));

  /* The tones of the theme; on paper those of light paper, whatever the screen shows. */
  function tonesNow(paper = matchMedia("print").matches) {
    if (paper) return carried.paper;
    const style = getComputedStyle(document.documentElement);
    return Object.fromEntries(Object.keys(carried.paper).map((key) => [key, style.getPropertyValue(`--${key}`).trim()]));
  }

  function show(name) {
    const host = hostOf(name), { spec, title, note } = carried.figures[name];
    if (!host) return;
    const place = element("div", { class: "view", tabindex: "0", role: "img", "aria-label": spec.description });
    host.replaceChildren(element("figcaption", {}, element("strong", {}, title), element("span", {}, note)), place, buttons(title));
    const value = (key) => spec.signals.find((one) => one.name === key).value;
    const many = spec.data.some((some) => (some.values || []).length > MANY);
    const view = new vega.View(vega.parse(spec, null, { ast: true }), { expr: vegaInterpreter, renderer: many ? "canvas" : "svg", hover: false });
    made[name] = { host, place, view, title, many, looks: value("looks"), at: -1 };
    view.tooltip((_, event, item, datum) => show_tip(name, event, datum));
    view.signal("tones", tonesNow()).signal("outer", roomFor(place)).initialize(place).run();
    place.removeAttribute("aria-roledescription");
    place.addEventListener("keydown", (event) => onKey(name, event));
    place.addEventListener("pointerleave", hideTip);
    place.addEventListener("blur", hideTip);
    host.view = view; // for tests
  }

  function buttons(title) {
    const all = [["closer", "zoom", "closer"], ["wider", "zoom", "wider"], ["all", "zoom", "whole"], ["PNG", "save", "png"], ["SVG", "save", "svg"], ["data", "save", "csv"]];
    const made_ = all.map(([word, what, how]) => element("button", { type: "button", [`data-${what}`]: how, "aria-label": `${what} ${word}: ${title}` }, word));
    return element("p", { class: "save screen" }, element("span", {}, "zoom"), ...made_.slice(0, 3), element("span", {}, "save"), ...made_.slice(3));
  }

  /* New rows of a figure, the words of its title, and the names along its axis. */
  function put(name, layers, { title, names } = {}) {
    const one = made[name];
    if (!one) return;
    const rows = rowsOf(name, layers), kinds = new Set(one.looks.map(({ kind }) => kind));
    for (const kind of kinds) if (kind !== "open") one.view.data(kind, rows[kind]);
    if (names) one.view.signal("names_y", names);
    one.view.signal("zoom_x", null).signal("zoom_y", null);
    soon(one.view);
    [one.title, one.at] = [title, -1];
    one.host.querySelector("figcaption strong").textContent = title;
    one.place.setAttribute("aria-label", `${title}. ${carried.figures[name].spec.description.split(". ").slice(-2).join(". ")}`);
    one.host.drawnFrom = { ...carried.described[name], title, layers, rows }; // for tests
  }

  /* Rows over a figure: rings about marks, or open circles at a date; { look, x, y, ... } each. */
  function over(name, kind, marks) {
    const one = made[name];
    if (!one) return;
    one.view.data(kind, marks.map(({ look, ...row }) => ({ m: lookAt(one.looks, look), g: 0, ...row })));
    soon(one.view);
  }

  /* Once for all that a choice changes of a figure. */
  const waiting = new Set();
  function soon(view) {
    if (!waiting.size) queueMicrotask(() => { waiting.forEach((one) => one.resize().run()); waiting.clear(); });
    waiting.add(view);
  }

  function message(name, words) {
    const host = hostOf(name);
    if (host && made[name]) host.querySelector("figcaption strong").textContent = words;
  }

  function fit(within = document) {
    for (const { host, place, view } of Object.values(made)) if (within.contains(host)) view.signal("outer", roomFor(place)).resize().run();
  }

  /* Tones for the theme or for paper; a figure of many marks, which is a picture of dots on the screen, is drawn in lines. */
  function dress(paper) {
    const tones = tonesNow(paper);
    for (const { view, place, many } of Object.values(made)) {
      if (many && view.renderer() !== (paper ? "svg" : "canvas")) view.renderer(paper ? "svg" : "canvas").initialize(place);
      view.signal("tones", tones).signal("outer", roomFor(place, paper)).resize().run();
    }
  }

  // --- marks under the pointer and at the keyboard -----------------------------------------------------------

  /* Where a place on the screen lies in the drawing area of a figure, pixels. */
  function inside(name, event) {
    const { view, place } = made[name], area = place.querySelector("svg, canvas").getBoundingClientRect();
    const [left, top] = view.origin(), pad = view.padding();
    return [event.clientX - area.left - left - pad.left, event.clientY - area.top - top - pad.top];
  }

  function placeOf(name, row) {
    const { view } = made[name], [x, y] = ["x", "y"].map((side) => view.scale(side));
    return [x(row.tx ?? row.x), y(row.ty ?? row.y)];
  }

  /* The key of the mark next to the pointer, at most 40 px away. */
  function nearest(name, event) {
    const [u, v] = inside(name, event);
    let best = null, least = 40 * 40;
    for (const row of made[name].view.data("points")) {
      const [x, y] = placeOf(name, row), d = (x - u) ** 2 + (y - v) ** 2;
      if (d < least) [best, least] = [row.key, d];
    }
    return best;
  }

  const number = (value) => Number(value.toPrecision(5)).toLocaleString("en", { maximumSignificantDigits: 5 }).replaceAll(",", "\u202f").replace("-", "\u2212");
  const day = (jd) => new Date(Math.round((jd - UNIX_JD) * 86400) * 1000).toISOString().slice(0, 10);

  /* A mark in words: what it is, and its numbers with the labels of the axes, which hold the units. */
  function words(name, row) {
    const own = said(name, row);
    if (own) return own;
    const { view, looks } = made[name], { axes } = carried.figures[name], label = looks[row.m].label;
    if (row.line) return label;
    const numbers = ["x", "y"].flatMap((side) => {
      const { label: axis, kind } = axes[side], ends = [row[side], row[`${side}2`]].filter((end, k) => Number.isFinite(end) && !(k && looks[row.m].kind === "bars"));
      if (!ends.length) return [];
      const read = kind === "date" ? day : kind === "names" ? (at) => view.signal(`names_${side}`)[at] : number;
      return [`${axis}: ${ends.map(read).join(" to ")}`];
    });
    return [label, row.said, ...numbers].filter(Boolean).join("\n");
  }

  function show_tip(name, event, datum) {
    if (!datum || datum.m === undefined) { hideTip(); return; }
    tipAt(words(name, datum), event.clientX, event.clientY);
  }

  function tipAt(text, x, y) {
    tip.textContent = text;
    tip.hidden = !text;
    const room = document.documentElement.clientWidth - tip.offsetWidth - 8;
    tip.style.left = `${Math.max(8, Math.min(x + 14, room))}px`;
    tip.style.top = `${y + 18 + tip.offsetHeight > innerHeight ? y - 12 - tip.offsetHeight : y + 18}px`;
  }

  const hideTip = () => { tip.hidden = true; };

  function onKey(name, event) {
    const zooms = { "+": "closer", "=": "closer", "-": "wider", 0: "whole" };
    if (event.key in zooms) zoom(name, zooms[event.key]);
    else if (event.key === "Escape") hideTip();
    else if (["ArrowRight", "ArrowLeft"].includes(event.key) && !event.defaultPrevented) stepMarks(name, event.key === "ArrowRight" ? 1 : -1);
    else return;
    event.preventDefault();
  }

  /* The next mark of a figure, said where it is and to those who listen. */
  function stepMarks(name, by) {
    const one = made[name], there = KINDS.filter((kind) => kind !== "ring" && kind !== "line" && one.looks.some((look) => look.kind === kind));
    const rows = there.flatMap((kind) => one.view.data(kind)).filter((row) => Number.isFinite(row.x));
    if (!rows.length) return;
    one.at = (one.at + by + rows.length) % rows.length;
    const area = one.place.querySelector("svg, canvas").getBoundingClientRect(), [left, top] = one.view.origin();
    const [x, y] = placeOf(name, rows[one.at]);
    tipAt(words(name, rows[one.at]), area.left + left + x, area.top + top + (Number.isFinite(y) ? y : 0));
  }

  function zoom(name, how) {
    const { view } = made[name];
    for (const side of ["x", "y"]) {
      if (carried.figures[name].axes[side].kind === "names") continue;
      const [low, high] = view.signal(`domain_${side}`).map(Number), half = ((high - low) / 2) * (how === "closer" ? 0.6 : 1 / 0.6), middle = (low + high) / 2;
      view.signal(`zoom_${side}`, how === "whole" ? null : [middle - half, middle + half]);
    }
    view.run();
  }

  // --- saving ------------------------------------------------------------------------------------------------

  function hand(name, address) {
    const link = element("a", { href: address, download: name });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(address), 60000); // a busy machine takes its time to save
  }

  const file = (name, kind, content) => hand(name, URL.createObjectURL(new Blob([content], { type: kind })));
  const cell = (value) => `"${String(value ?? "").replaceAll('"', '""')}"`;

  async function save(name, form) {
    const { view, looks, title } = made[name], { axes } = carried.figures[name];
    if (form === "csv") {
      const rows = KINDS.filter((kind) => kind !== "open" && looks.some((look) => look.kind === kind)).flatMap((kind) => view.data(kind));
      const lines = [["mark", axes.x.label, axes.y.label, "to, across", "to, up", "text", "number"], ...rows.map((row) => [looks[row.m].label, row.x, row.y, row.x2, row.y2, row.said, row.key])];
      file(`${name}.csv`, "text/csv", lines.map((line) => line.map(cell).join(",")).join("\r\n"));
      return;
    }
    await view.signal("title", title).runAsync();
    if (form === "svg") file(`${name}.svg`, "image/svg+xml", await view.toSVG());
    else hand(`${name}.png`, (await view.toCanvas(2)).toDataURL("image/png"));
    await view.signal("title", "").runAsync();
  }

  document.addEventListener("click", ({ target }) => {
    const name = target.closest && target.closest("[data-figure]")?.dataset.figure;
    if (name && target.dataset.save) save(name, target.dataset.save);
    if (name && target.dataset.zoom) zoom(name, target.dataset.zoom);
  });
  matchMedia("print").addEventListener("change", ({ matches }) => dress(matches));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => dress());

  return { carried, made, show, put, over, message, fit, dress, nearest, tipAt, hideTip, file, element, day, speak: (how) => { said = how; } };
})();
