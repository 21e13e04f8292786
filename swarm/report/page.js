"use strict";
/* Draws the figures of a run from plain data and links them: one chosen plan, one chosen probe, one date.
   Everything shown comes from the tables in #data; only of a front too large for that the probes of a plan are asked
   of the server that handed over the page. */
(() => {
  const carried = JSON.parse(document.getElementById("data").textContent);
  const tables = carried.tables;
  const SVG = "http://www.w3.org/2000/svg";
  const UNIX_JD = 2440587.5;
  const NOTHING = "\u2013";
  const LONG = 24;
  const state = { plan: null, rows: [], pinned: null, kind: "", row: "", probe: 0, when: carried.span[0], sort: null, filter: "" };
  const drawn = {}; // figure name -> what was drawn last: scales, spec

  // --- small helpers -------------------------------------------------------------------------------------

  const byId = (id) => document.getElementById(id);
  const hostOf = (name) => document.querySelector(`[data-figure="${name}"]`);

  function make(kind, attributes = {}, ...children) {
    const svg = ["svg", "g", "path", "line", "rect", "text", "circle", "title", "clipPath"].includes(kind);
    const node = svg ? document.createElementNS(SVG, kind) : document.createElement(kind);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    node.append(...children);
    return node;
  }

  // As swarm/report/forms.py writes it.
  function shown(value, form) {
    if (value === null || value === undefined) return NOTHING;
    if (form === "text" || form === "id") return String(value);
    if (form === "date") return day(value);
    if (form === "yes") return value ? "yes" : "no";
    if (form[0] === "%") return `${plainZero((100 * value).toFixed(Number(form.slice(1))))}\u00a0%`;
    const [whole, part] = value.toFixed(Number(form)).split(".");
    const grouped = whole.replace(/\B(?=(\d{3})+$)/g, "\u202f");
    return plainZero(part === undefined ? grouped : `${grouped}.${part}`);
  }

  const plainZero = (written) => (/[1-9]/.test(written) ? written : written.replace("-", ""));

  function day(jd) {
    return new Date(Math.round((jd - UNIX_JD) * 86400) * 1000).toISOString().slice(0, 10);
  }

  /* A name short enough to stand in a figure, counted in signs as Python counts them. */
  function clipped(name) {
    const signs = [...name];
    return signs.length <= carried.label_max ? name : `${signs.slice(0, carried.label_max - 1).join("")}\u2026`;
  }

  function groupedBy(values) {
    const groups = new Map();
    values.forEach((value, k) => (groups.has(value) ? groups.get(value).push(k) : groups.set(value, [k])));
    return groups;
  }

  function rowOf(name, k) {
    return Object.fromEntries(Object.entries(tables[name]).map(([key, values]) => [key, values[k]]));
  }

  const plansOf = groupedBy(tables.plans.plan);
  const placeOf = new Map(tables.opportunities.opportunity.map((number, k) => [number, k]));
  const targetOf = new Map(tables.targets.target.map((name, k) => [name, k]));
  const frontOf = new Map(tables.front.plan.map((number, k) => [number, k]));
  const eventsOf = tables.events ? groupedBy(tables.events.opportunity) : new Map();
  const aimOf = tables.aims ? new Map(tables.aims.opportunity.map((number, k) => [number, k])) : new Map();
  const returnsOf = tables.successes ? groupedBy(tables.successes.plan) : new Map();
  const servesOf = tables.serves ? groupedBy(tables.serves.opportunity) : new Map();
  const windowsOf = groupedBy(tables.windows.target);

  /* The probes of a plan in order of release: archive rows of every table, and the values joined. */
  function probesOf(plan) {
    const found = (plansOf.get(plan) || []).map((k) => {
      const flown = rowOf("plans", k);
      const o = placeOf.get(flown.opportunity);
      const chance = rowOf("opportunities", o);
      const t = targetOf.get(chance.target);
      const judged = tables.judged ? rowOf("judged", o) : {};
      const target = t === undefined ? {} : rowOf("targets", t);
      const at = { plans: k, opportunities: chance.row, judged: chance.row, targets: t };
      const served = servesOf.get(flown.opportunity) || [];
      const science_row = served.map((r) => `${tables.serves.science_row[r]} ${shown(tables.serves.counts_chance[r], "%0")}`).join("; ");
      return { at, served, values: { ...target, ...judged, ...chance, ...flown, science_row } };
    });
    return found.sort((a, b) => a.values.release_jd_tdb - b.values.release_jd_tdb || a.values.probe - b.values.probe);
  }

  // --- axes ----------------------------------------------------------------------------------------------

  function extent(spec, side) {
    const axis = spec[side];
    if (axis.kind === "names") return [-0.6, axis.names.length - 0.4];
    let low = Infinity, high = -Infinity;
    const see = (value) => {
      if (value === null || value === undefined || !Number.isFinite(value)) return;
      low = Math.min(low, value);
      high = Math.max(high, value);
    };
    for (const layer of spec.layers) {
      const [x, y, to] = [layer.x || [], layer.y || [], layer.to || []];
      if (layer.kind === "ring") {
        const [a, b] = halfSpan(to);
        const middle = side === "x" ? x[0] : y[0];
        see(middle - (side === "x" ? a : b));
        see(middle + (side === "x" ? a : b));
        continue;
      }
      (side === "x" ? x : y).forEach(see);
      if (side === "x" && (layer.kind === "across" || layer.kind === "band")) to.forEach(see);
      if (side === "y" && layer.kind === "error") y.forEach((value, k) => { see(value - to[k]); see(value + to[k]); });
      if (side === "y" && layer.kind === "bars") see(0);
    }
    if (low > high) [low, high] = axis.kind === "date" ? carried.span : [0, 1];
    if (axis.zero) [low, high] = [Math.min(low, 0), Math.max(high, 0)];
    const least = axis.kind === "date" ? 20 : 1e-9;
    const pad = Math.max(0.04 * (high - low), high - low < least ? least || 1 : 0);
    const bars = side === "x" && spec.layers.some((layer) => layer.kind === "bars");
    if (bars) return [low - 0.6, high + 0.6];
    return [axis.zero && low === 0 ? 0 : low - pad, axis.zero && high === 0 ? 0 : high + pad];
  }

  /* Half width and half height of an ellipse (half axes a, b, turned by an angle in degrees). */
  function halfSpan([a, b, degrees]) {
    const [c, s] = [Math.cos((degrees * Math.PI) / 180), Math.sin((degrees * Math.PI) / 180)];
    return [Math.hypot(a * c, b * s), Math.hypot(a * s, b * c)];
  }

  function numberTicks([low, high], most) {
    const rough = (high - low) / Math.max(most, 1);
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = [1, 2, 5, 10].map((k) => k * power).find((one) => one >= rough);
    const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    const ticks = [];
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k += 1) ticks.push([k * step, shown(k * step, String(Math.min(digits, 8)))]);
    return ticks;
  }

  function dateTicks([low, high], most) {
    const months = [1, 2, 3, 6, 12, 24, 60, 120, 240].find((m) => (high - low) / (30.44 * m) <= most);
    if (high - low < 61) {
      const step = [1, 2, 5, 10, 20].find((d) => (high - low) / d <= most) || 20;
      const ticks = [];
      for (let jd = Math.ceil((low - 0.5) / step) * step + 0.5; jd <= high; jd += step) ticks.push([jd, day(jd)]);
      return ticks;
    }
    const ticks = [];
    const first = new Date((low - UNIX_JD) * 864e5);
    for (let k = 0; k < 400; k += 1) {
      const month = Math.floor(first.getUTCMonth() / months) * months + k * months;
      const jd = Date.UTC(first.getUTCFullYear() - (months > 12 ? first.getUTCFullYear() % (months / 12) : 0), months > 12 ? k * months : month, 1) / 864e5 + UNIX_JD;
      if (jd > high) break;
      if (jd >= low) ticks.push([jd, day(jd).slice(0, months >= 12 ? 4 : 7)]);
    }
    return ticks;
  }

  function ticksOf(axis, range, pixels, perTick) {
    if (axis.kind === "names") return axis.names.map((name, k) => [k, name]);
    const most = Math.max(3, Math.floor(pixels / perTick));
    return axis.kind === "date" ? dateTicks(range, most) : numberTicks(range, most);
  }

  // --- drawing -------------------------------------------------------------------------------------------

  const SYMBOLS = {
    circle: (x, y, r) => `M${x - r},${y}a${r},${r} 0 1,0 ${2 * r},0a${r},${r} 0 1,0 ${-2 * r},0z`,
    square: (x, y, r) => `M${x - r},${y - r}h${2 * r}v${2 * r}h${-2 * r}z`,
    triangle: (x, y, r) => `M${x},${y - 1.2 * r}l${1.2 * r},${2.1 * r}h${-2.4 * r}z`,
    down: (x, y, r) => `M${x},${y + 1.2 * r}l${1.2 * r},${-2.1 * r}h${-2.4 * r}z`,
    diamond: (x, y, r) => `M${x},${y - 1.35 * r}l${1.35 * r},${1.35 * r}l${-1.35 * r},${1.35 * r}l${-1.35 * r},${-1.35 * r}z`,
    plus: (x, y, r) => { const t = 0.4 * r, o = 1.3 * r; return `M${x - t},${y - o}h${2 * t}v${o - t}h${o - t}v${2 * t}h${t - o}v${o - t}h${-2 * t}v${t - o}h${t - o}v${-2 * t}h${o - t}z`; },
  };
  const fixed = (value) => Math.round(value * 10) / 10;

  function frame(spec, width) {
    const narrow = width < 480;
    const names = spec.y.kind === "names" ? Math.max(...spec.y.names.map((name) => name.length), 3) : 0;
    const left = names ? Math.min(24 + 7.6 * names, 0.45 * width) : spec.y.kind === "date" ? 76 : 62;
    const box = { left: left + 18, right: narrow ? 14 : 20, top: 12, bottom: 52, width };
    const inner = width - box.left - box.right;
    const least = names && spec.height < 0.6 + 1e-9 ? 26 * spec.y.names.length : 150;
    const ratio = spec.y.kind === "names" && !spec.equal ? 0 : narrow ? Math.max(spec.height, spec.equal ? 0.6 : 0.9) : spec.height;
    box.height = Math.max(inner * ratio, least) + box.top + box.bottom;
    return box;
  }

  function scalesOf(spec, box) {
    let x = extent(spec, "x"), y = extent(spec, "y");
    const [w, h] = [box.width - box.left - box.right, box.height - box.top - box.bottom];
    if (spec.equal && spec.x.kind === "number") {
      const per = Math.max((x[1] - x[0]) / w, (y[1] - y[0]) / h);
      const grow = ([low, high], pixels) => { const m = (low + high) / 2; return [m - (per * pixels) / 2, m + (per * pixels) / 2]; };
      [x, y] = [grow(x, w), grow(y, h)];
    }
    return {
      x, y, w, h,
      toX: (value) => fixed(box.left + ((value - x[0]) / (x[1] - x[0])) * w),
      toY: (value) => fixed(box.top + h - ((value - y[0]) / (y[1] - y[0])) * h),
    };
  }

  function axes(svg, spec, box, scale) {
    const bottom = box.top + scale.h;
    for (const [value, label] of ticksOf(spec.x, scale.x, scale.w, spec.x.kind === "date" ? 66 : 60)) {
      const x = scale.toX(value);
      if (spec.x.kind !== "names") svg.append(make("line", { x1: x, x2: x, y1: box.top, y2: bottom, class: "t-line", stroke: "currentColor" }));
      svg.append(make("text", { x, y: bottom + 18, "text-anchor": "middle", "font-size": 12, class: "t-ink tick" }, label));
    }
    for (const [value, label] of ticksOf(spec.y, scale.y, scale.h, 44)) {
      const y = scale.toY(value);
      if (spec.y.kind !== "names") svg.append(make("line", { x1: box.left, x2: box.left + scale.w, y1: y, y2: y, class: "t-line", stroke: "currentColor" }));
      const most = Math.max(3, Math.floor((box.left - 30) / 7.4));
      const said = label.length > most ? `${label.slice(0, most - 1)}\u2026` : label;
      svg.append(make("text", { x: box.left - 7, y: y + 4, "text-anchor": "end", "font-size": 12, class: "t-ink tick" }, said));
    }
    svg.append(make("rect", { x: box.left, y: box.top, width: scale.w, height: scale.h, fill: "none", stroke: "currentColor", class: "t-mute" }));
    const [cx, cy] = [box.left + scale.w / 2, box.top + scale.h / 2];
    svg.append(fitted(spec.x.label, cx, box.width, { y: box.height - 8, class: "t-ink axis-x" }));
    svg.append(fitted(spec.y.label, box.height - cy, box.height, { y: 13, class: "t-ink axis-y", transform: `translate(0 ${fixed(box.height)}) rotate(-90)` }));
  }

  /* A text about a place on an axis of some length: moved, then made narrower, where it would stick out. */
  function fitted(said, middle, length, attributes) {
    const wide = 6.8 * said.length;
    const x = wide > length - 6 ? length / 2 : Math.min(Math.max(middle, wide / 2 + 3), length - wide / 2 - 3);
    const node = make("text", { x: fixed(x), "text-anchor": "middle", "font-size": 13, ...attributes }, said);
    if (wide > length - 6) { node.setAttribute("textLength", fixed(length - 6)); node.setAttribute("lengthAdjust", "spacingAndGlyphs"); }
    return node;
  }

  const LAYERS = {
    points(group, layer, scale) {
      const mark = SYMBOLS[layer.symbol || "circle"];
      const path = [];
      layer.x.forEach((x, k) => { if (x !== null && layer.y[k] !== null) path.push(mark(scale.toX(x), scale.toY(layer.y[k]), layer.small ? 1.8 : 4.5)); });
      group.append(make("path", { d: path.join(""), class: `t-${layer.tone} points`, fill: "currentColor", opacity: layer.small ? 0.45 : 1, "data-count": path.length }));
      if (layer.said) labels(group, layer, scale);
    },
    circled(group, layer, scale) {
      layer.x.forEach((x, k) => group.append(make("circle", { cx: scale.toX(x), cy: scale.toY(layer.y[k]), r: 10, fill: "none", stroke: "currentColor", "stroke-width": 2.5, class: `t-${layer.tone} circled` })));
    },
    line(group, layer, scale) {
      let open = false, d = "";
      layer.x.forEach((x, k) => {
        if (x === null || layer.y[k] === null) { open = false; return; }
        d += `${open ? "L" : "M"}${scale.toX(x)},${scale.toY(layer.y[k])}`;
        open = true;
      });
      const node = make("path", { d, class: `t-${layer.tone} line`, fill: "none", stroke: "currentColor", "stroke-width": 1.8 });
      if (layer.dashed) node.setAttribute("stroke-dasharray", "7 4");
      if (layer.of !== undefined) node.setAttribute("data-opportunity", layer.of);
      group.append(node);
    },
    bars(group, layer, scale) {
      const wide = Math.abs(scale.toX(0.7) - scale.toX(0));
      layer.x.forEach((x, k) => {
        const [y, y0] = [scale.toY(layer.y[k]), scale.toY(0)];
        group.append(make("rect", { x: scale.toX(x) - wide / 2, y, width: wide, height: Math.max(y0 - y, 0), class: `t-${layer.tone} bar-mark`, fill: "currentColor", "data-value": layer.y[k] }));
      });
    },
    across(group, layer, scale) {
      const high = Math.min(Math.abs(scale.toY(0.6) - scale.toY(0)), 18);
      layer.y.forEach((y, k) => {
        const [a, b] = [scale.toX(layer.x[k]), scale.toX(layer.to[k])];
        group.append(make("rect", { x: Math.min(a, b), y: scale.toY(y) - high / 2, width: Math.abs(b - a), height: high, class: `t-${layer.tone}`, fill: "currentColor" }, make("title", {}, (layer.said || [])[k] || "")));
      });
    },
    error(group, layer, scale) {
      layer.x.forEach((x, k) => {
        const [at, a, b] = [scale.toX(x), scale.toY(layer.y[k] - layer.to[k]), scale.toY(layer.y[k] + layer.to[k])];
        group.append(make("path", { d: `M${at},${a}V${b}M${at - 5},${a}h10M${at - 5},${b}h10`, class: `t-${layer.tone}`, stroke: "currentColor", "stroke-width": 1.5 }));
      });
    },
    band(group, layer, scale, box) {
      (layer.x || []).forEach((x, k) => group.append(make("rect", { x: scale.toX(x), y: box.top, width: Math.max(scale.toX(layer.to[k]) - scale.toX(x), 1), height: scale.h, class: `t-${layer.tone}`, fill: "currentColor", opacity: 0.25 })));
    },
    ring(group, layer, scale) {
      const [a, b, degrees] = layer.to;
      const turn = (degrees * Math.PI) / 180;
      let d = "";
      for (let k = 0; k <= 90; k += 1) {
        const [u, v] = [a * Math.cos((k * Math.PI) / 45), b * Math.sin((k * Math.PI) / 45)];
        d += `${k ? "L" : "M"}${scale.toX(layer.x[0] + u * Math.cos(turn) - v * Math.sin(turn))},${scale.toY(layer.y[0] + u * Math.sin(turn) + v * Math.cos(turn))}`;
      }
      const node = make("path", { d: `${d}z`, class: `t-${layer.tone} ring`, stroke: "currentColor", "stroke-width": 1.8, fill: layer.fill ? "currentColor" : "none", "fill-opacity": 0.18, "data-label": layer.label });
      if (layer.dashed) node.setAttribute("stroke-dasharray", "6 4");
      group.append(node);
    },
    cells(group, layer, scale) {
      const [w, h] = [Math.abs(scale.toX(1) - scale.toX(0)), Math.abs(scale.toY(1) - scale.toY(0))];
      layer.x.forEach((x, k) => {
        const [cx, cy] = [scale.toX(x), scale.toY(layer.y[k])];
        group.append(make("rect", { x: cx - w / 2 + 1, y: cy - h / 2 + 1, width: w - 2, height: h - 2, class: `t-${layer.tone}`, fill: "currentColor" }));
        group.append(make("text", { x: cx, y: cy + 4, "text-anchor": "middle", "font-size": 13, class: "t-ink" }, layer.said[k]));
      });
    },
  };

  /* Texts beside marks, moved up where they would stand on one another. */
  function labels(group, layer, scale) {
    const taken = [];
    layer.said.forEach((said, k) => {
      const beside = scale.toX(layer.x[k]) + 7, wide = 8 * String(said).length;
      const x = beside + wide > scale.toX(scale.x[1]) ? beside - 14 - wide : beside;
      let y = scale.toY(layer.y[k]) - 6;
      const close = () => taken.some(([u, v]) => Math.abs(u - x) < 18 && Math.abs(v - y) < 13);
      const top = scale.toY(scale.y[1]) + 12;
      if (y < top) y += 22; // at the upper edge below the mark
      for (let tries = 0; tries < 4 && close() && y - 13 >= top; tries += 1) y -= 13;
      if (close()) return;
      taken.push([x, y]);
      group.append(make("text", { x, y, "font-size": 12, class: "t-ink mark-text" }, said));
    });
  }

  function legend(spec) {
    const list = make("ul", { class: "legend" });
    const seen = new Set();
    for (const layer of spec.layers) {
      if (!layer.label || seen.has(layer.label) || !((layer.x || []).length)) continue;
      seen.add(layer.label);
      const swatch = make("svg", { viewBox: "0 0 22 14", "aria-hidden": "true" });
      const tone = { class: `t-${layer.tone}`, stroke: "currentColor", "stroke-width": 2, fill: "none" };
      if (layer.kind === "points") swatch.append(make("path", { d: SYMBOLS[layer.symbol || "circle"](11, 7, 4.5), class: tone.class, fill: "currentColor" }));
      else if (layer.kind === "circled") swatch.append(make("circle", { ...tone, cx: 11, cy: 7, r: 5.5 }));
      else if (["line", "ring", "error"].includes(layer.kind)) swatch.append(make("path", { ...tone, d: "M1,7H21", ...(layer.dashed ? { "stroke-dasharray": "6 3" } : {}) }));
      else swatch.append(make("rect", { x: 3, y: 2, width: 16, height: 10, class: tone.class, fill: "currentColor", opacity: layer.kind === "band" ? 0.35 : 1 }));
      list.append(make("li", {}, swatch, make("span", {}, layer.label)));
    }
    return list;
  }

  let clips = 0;

  function draw(spec) {
    const host = hostOf(spec.name);
    if (!host) return null;
    const box = frame(spec, Math.max(host.clientWidth - 24, 280));
    const scale = scalesOf(spec, box);
    const svg = make("svg", { viewBox: `0 0 ${box.width} ${fixed(box.height)}`, role: "img", "aria-label": `${spec.title}. Across: ${spec.x.label}. Up: ${spec.y.label}.` });
    axes(svg, spec, box, scale);
    clips += 1;
    svg.append(make("clipPath", { id: `clip${clips}` }, make("rect", { x: box.left, y: box.top, width: scale.w, height: scale.h })));
    const marks = make("g", { "clip-path": `url(#clip${clips})` });
    for (const layer of spec.layers) LAYERS[layer.kind](marks, layer, scale, box);
    svg.append(marks);
    const over = make("g", { class: "over" });
    svg.append(over);
    const saving = [["svg", "picture"], ["csv", "data"]].map(([form, what]) => make("button", { type: "button", "data-save": form, "aria-label": `save the ${what} of ${spec.title}` }, `save ${what}`));
    host.replaceChildren(make("figcaption", {}, make("strong", {}, spec.title), make("span", {}, spec.note)), legend(spec), svg, make("p", { class: "save screen" }, ...saving));
    drawn[spec.name] = { spec, scale, svg, over, box };
    host.drawnFrom = spec; // for tests: what the figure was drawn from
    return drawn[spec.name];
  }

  // --- the fronts ----------------------------------------------------------------------------------------

  const FRONTS = { front: "propellant_kg", front_risk: "risk" };
  const orders = {};
  for (const key of Object.values(FRONTS)) {
    const value = tables.front[key], science = tables.front.science;
    orders[key] = value.map((_, k) => k).sort((a, b) => value[a] - value[b] || science[a] - science[b] || a - b).map((k) => tables.front.plan[k]);
  }

  function drawFront(name) {
    const made = draw(carried.figures[name]);
    if (!made) return;
    made.svg.setAttribute("tabindex", "0");
    made.svg.setAttribute("role", "application");
    made.svg.setAttribute("class", "pick");
    made.svg.setAttribute("aria-label", `${made.spec.title}: choose a plan with the arrow keys. Across: ${made.spec.x.label}. Up: ${made.spec.y.label}.`);
    made.svg.addEventListener("click", (event) => { const plan = nearest(made, name, event); if (plan !== null) choose(plan); });
    made.svg.addEventListener("keydown", (event) => { const plan = stepped(name, event.key); if (plan !== null) { event.preventDefault(); choose(plan); } });
    const tip = make("p", { class: "note tip screen" }, "\u00a0");
    hostOf(name).append(tip);
    made.svg.addEventListener("pointermove", (event) => { tip.textContent = pointedAt(nearest(made, name, event)); });
    ring(name);
  }

  function pointedAt(plan) {
    if (plan === null) return "\u00a0";
    const row = rowOf("front", frontOf.get(plan));
    return `Plan ${plan}: ${row.probes} probes, science ${shown(row.science, "3")}, ${shown(row.propellant_kg, "3")} kg, risk ${shown(row.risk, "3")}`;
  }

  function nearest(made, name, event) {
    const area = made.svg.getBoundingClientRect();
    const zoom = made.box.width / area.width;
    const [x, y] = [(event.clientX - area.left) * zoom, (event.clientY - area.top) * zoom];
    const across = tables.front[FRONTS[name]];
    let best = null, least = 40 * 40;
    for (let k = 0; k < across.length; k += 1) {
      const d = (made.scale.toX(across[k]) - x) ** 2 + (made.scale.toY(tables.front.science[k]) - y) ** 2;
      if (d < least) [best, least] = [tables.front.plan[k], d];
    }
    return best;
  }

  function stepped(name, key) {
    const order = orders[FRONTS[name]];
    const at = order.indexOf(state.plan);
    const steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10, Home: -order.length, End: order.length };
    return key in steps ? order[Math.max(0, Math.min(order.length - 1, at + steps[key]))] : null;
  }

  function ring(name) {
    const made = drawn[name], k = frontOf.get(state.plan);
    if (!made || k === undefined) return;
    const [x, y] = [made.scale.toX(tables.front[FRONTS[name]][k]), made.scale.toY(tables.front.science[k])];
    const p = frontOf.get(state.pinned);
    made.over.replaceChildren(
      ...(p === undefined ? [] : [make("circle", { cx: made.scale.toX(tables.front[FRONTS[name]][p]), cy: made.scale.toY(tables.front.science[p]), r: 11, fill: "none", stroke: "currentColor", "stroke-width": 2.5, "stroke-dasharray": "4 3", class: "t-bloom pinned" })]),
      make("circle", { cx: x, cy: y, r: 11, fill: "none", stroke: "currentColor", "stroke-width": 5, class: "t-sheet" }),
      make("circle", { cx: x, cy: y, r: 11, fill: "none", stroke: "currentColor", "stroke-width": 2.5, class: "t-ink chosen", "data-plan": state.plan }),
    );
  }

  // --- figures of the chosen plan ------------------------------------------------------------------------

  /* A figure of a plan: its texts and marks are those of swarm/report/described.py, filled in; layers give places. */
  function specOf(name, filled, layers, names) {
    const described = carried.described[name];
    const title = described.title.replace(/\{(\w+)\}/g, (_, key) => filled[key]);
    const y = described.y.kind === "names" ? { ...described.y, names } : described.y;
    return { ...described, title, y, layers };
  }

  const marked = (name, mark, places) => ({ ...carried.described[name].marks[mark], ...places });

  function mapSpec(side) {
    const name = side ? "map_side" : "map", up = side ? "z" : "y", map = carried.places;
    const flown = state.rows.map(({ values }) => ({ of: values.opportunity, arc: map.arcs[values.opportunity] })).filter(({ arc }) => arc);
    const met = state.rows.map(({ values }) => map.met[values.opportunity]);
    return specOf(name, { plan: state.plan }, [
      marked(name, "path", { x: map.path.x, y: map.path[up] }),
      ...flown.map(({ arc, of }) => marked(name, "arc", { x: arc.x, y: arc[up], of })),
      marked(name, "burn", { x: flown.map(({ arc }) => arc.x[0]), y: flown.map(({ arc }) => arc[up][0]) }),
      marked(name, "met", { x: met.map((m) => m[0]), y: met.map((m) => m[side ? 2 : 1]), said: state.rows.map(({ values }) => String(values.probe)) }),
      marked(name, "sun", { x: [0], y: [0] }),
    ]);
  }

  function apartSpec() {
    const flown = state.rows.map(({ values }) => ({ of: values.opportunity, probe: values.probe, arc: carried.places.apart[values.opportunity] })).filter(({ arc }) => arc);
    return specOf("apart", { plan: state.plan }, [
      ...flown.map(({ arc, of }) => marked("apart", "arc", { ...arc, of })),
      marked("apart", "met", { x: flown.map(({ arc }) => arc.x.at(-1)), y: flown.map(({ arc }) => arc.y.at(-1)), said: flown.map(({ probe }) => String(probe)) }),
      marked("apart", "ship", { x: [0], y: [0] }),
    ]);
  }

  function placeAt(track, jd) {
    const t = track.t, n = t.length;
    if (jd < t[0] || jd > t[n - 1]) return null;
    let k = t.findIndex((one) => one > jd);
    if (k < 0) k = n - 1;
    const share = (jd - t[k - 1]) / (t[k] - t[k - 1]);
    const [x, y, z] = ["x", "y", "z"].map((axis) => track[axis][k - 1] + share * (track[axis][k] - track[axis][k - 1]));
    return { x, y, z };
  }

  function drawNow() {
    byId("when-said").textContent = `${day(state.when)} TDB`;
    byId("when").value = state.when;
    byId("when").setAttribute("aria-valuetext", day(state.when));
    for (const name of ["map", "map_side"]) {
      const made = drawn[name];
      if (!made) continue;
      const up = name === "map" ? "y" : "z";
      const dots = [["leaf", placeAt(carried.places.path, state.when), "mothership"]];
      for (const { values } of state.rows) {
        const arc = carried.places.arcs[values.opportunity];
        if (arc) dots.push(["sky", placeAt(arc, state.when), values.opportunity]);
      }
      made.over.replaceChildren(...dots.filter(([, at]) => at).map(([tone, at, of]) => make("circle", { cx: made.scale.toX(at.x), cy: made.scale.toY(at[up]), r: 6, "stroke-width": 3, stroke: "currentColor", fill: "var(--sheet)", class: `t-${tone} now`, "data-of": of })));
    }
  }

  function timelineSpec() {
    const layers = [marked("timeline", "blackout", { x: carried.blackouts.map((span) => span[0]), y: [], to: carried.blackouts.map((span) => span[1]) })];
    const marks = Object.fromEntries(carried.events.map((event) => [event, { x: [], y: [] }]));
    state.rows.forEach(({ values }, place) => {
      const listed = eventsOf.get(values.opportunity) || [];
      const dates = listed.map((k) => tables.events.t_jd_tdb[k]);
      if (dates.length) layers.push(marked("timeline", "flight", { x: [Math.min(...dates), Math.max(...dates)], y: [place, place], of: values.opportunity }));
      for (const k of listed) {
        marks[tables.events.event[k]].x.push(tables.events.t_jd_tdb[k]);
        marks[tables.events.event[k]].y.push(place);
      }
    });
    for (const event of carried.events) layers.push(marked("timeline", event, marks[event]));
    return specOf("timeline", { plan: state.plan }, layers, state.rows.map(({ values }) => clipped(`${values.probe}: ${values.target}`)));
  }

  function successesSpec() {
    const rows = returnsOf.get(state.plan) || [];
    const bars = { x: rows.map((k) => tables.successes.returned[k]), y: rows.map((k) => tables.successes.chance_or_more[k]) };
    return specOf("successes", { plan: state.plan }, [marked("successes", "returned", bars)]);
  }

  const MEASURES = [["probes", "0", "", " probes"], ["science", "3", "science "], ["propellant_kg", "3", "propellant ", " kg"], ["risk", "3", "risk "], ["p_threshold", "3", "every threshold met "], ["p_baseline", "3", "every baseline met "], ["p_none", "4", "no data at all "], ["cvar10_science", "3", "science of the worst tenth "]];

  function planSaid() {
    const k = frontOf.get(state.plan), row = rowOf("front", k);
    const said = make("span", {}, `Plan ${state.plan}${state.plan === carried.plan ? " (chosen by the study's rule)" : ""}: `);
    let first = true;
    for (const [key, form, before, after] of MEASURES) {
      if (!(key in row)) continue;
      if (!first) said.append("; ");
      first = false;
      said.append(before, make("data", { "data-at": `front/${key}/${k}`, "data-form": form }, shown(row[key], form)), after || "");
    }
    byId("plan-said").replaceChildren(said, ".");
  }

  // --- two plans side by side ----------------------------------------------------------------------------

  function drawCompared() {
    const host = byId("compared"), other = state.pinned;
    byId("plan-pin").textContent = other === state.plan ? "unpin this plan" : "pin this plan";
    host.hidden = other === null || other === state.plan;
    if (host.hidden) { host.replaceChildren(); return; }
    const [a, b] = [other, state.plan];
    const cell = (kind, text, more = {}) => make(kind, more, text);
    const number = (plan, key, form, head) => cell("td", shown(tables.front[key][frontOf.get(plan)], form), { class: "n", "data-head": head, "data-at": `front/${key}/${frontOf.get(plan)}`, "data-form": form });
    const heads = [`plan ${a} (pinned)`, `plan ${b}`, "difference"];
    const lines = MEASURES.filter(([key]) => key in tables.front).map(([key, form, before, after]) => {
      const [u, v] = [a, b].map((plan) => tables.front[key][frontOf.get(plan)]);
      const change = u === null || v === null ? NOTHING : `${v > u ? "+" : ""}${shown(v - u, form)}`;
      const said = `${before}${(after || "").trim()}`.trim();
      return make("tr", {}, cell("th", key === "propellant_kg" ? "propellant, kg" : said, { scope: "row" }), number(a, key, form, heads[0]), number(b, key, form, heads[1]), cell("td", change, { class: "n", "data-head": heads[2] }));
    });
    const [met, own] = [a, b].map((plan) => new Set(probesOf(plan).map(({ values }) => values.target)));
    const visits = [["visited by both", [...met].filter((one) => own.has(one))], [`only by plan ${a}`, [...met].filter((one) => !own.has(one))], [`only by plan ${b}`, [...own].filter((one) => !met.has(one))]];
    const lists = visits.flatMap(([said, names]) => [make("dt", {}, `${said}: ${names.length}`), make("dd", {}, ...names.flatMap((one, k) => [...(k ? [", "] : []), make("bdi", {}, one)]))]);
    const head = make("tr", {}, ...["measure", ...heads].map((said, k) => cell("th", said, { scope: "col", ...(k ? { class: "n" } : {}) })));
    host.replaceChildren(
      make("table", { class: "stack" }, make("caption", {}, `Plan ${a} beside plan ${b}`), make("thead", {}, head), make("tbody", {}, ...lines)),
      make("dl", { class: "visits" }, ...lists),
    );
  }

  function pin() {
    state.pinned = state.pinned === state.plan ? null : state.plan;
    Object.keys(FRONTS).forEach(ring);
    drawCompared();
  }

  // --- the table of encounters ---------------------------------------------------------------------------

  function visibleRows() {
    const wanted = state.filter.trim().toLowerCase();
    const columns = encounterColumns;
    const rows = state.rows.filter(({ values, served }) => (!state.kind || values.taxonomy === state.kind) && (!state.row || served.some((r) => tables.serves.science_row[r] === state.row)) && (!wanted || columns.some(({ key, form }) => shown(values[key], form).toLowerCase().includes(wanted))));
    if (state.sort) rows.sort(compare(state.sort.key, state.sort.falling ? -1 : 1));
    return rows;
  }

  function compare(key, sign) {
    return (a, b) => {
      const [u, v] = [a.values[key], b.values[key]];
      const [none, other] = [u === null || u === undefined, v === null || v === undefined];
      if (none || other) return none - other;
      return sign * (typeof u === "string" ? (u < v ? -1 : u > v ? 1 : 0) : u - v);
    };
  }

  /* The two filters by choice: state.kind is a class, state.row a row of the science. */
  function fillFilters() {
    const kinds = state.rows.map(({ values }) => values.taxonomy).filter(Boolean);
    const served = state.rows.flatMap((one) => one.served.map((r) => tables.serves.science_row[r]));
    for (const [id, names] of [["kind", kinds], ["row", served]]) {
      const there = [...new Set(names)].sort();
      if (!there.includes(state[id])) state[id] = "";
      byId(id).replaceChildren(make("option", { value: "" }, "all"), ...there.map((one) => make("option", { value: one }, clipped(one))));
      byId(id).value = state[id];
    }
  }

  /* Columns of the table: without those that no target of the run has anything in. */
  const encounterColumns = carried.encounters.filter(({ key, table }) =>
    table === "targets" ? (tables.targets[key] || []).some((value) => value !== null && value !== "") : tables[table] && key in tables[table]);

  function drawEncounters() {
    const table = byId("encounters"), columns = encounterColumns;
    table.caption.textContent = `Encounters of plan ${state.plan}`;
    const head = make("tr");
    for (const { key, head: said, unit, form } of columns) {
      const cell = make("th", { scope: "col", ...(form === "text" ? {} : { class: "n" }) });
      const sorted = state.sort && state.sort.key === key;
      if (sorted) cell.setAttribute("aria-sort", state.sort.falling ? "descending" : "ascending");
      const button = make("button", { type: "button", "data-sort": key }, unit ? `${said} (${unit})` : said);
      cell.append(button);
      head.append(cell);
    }
    table.tHead.replaceChildren(head);
    const rows = visibleRows();
    table.tBodies[0].replaceChildren(...rows.map((row) => encounterRow(row, columns)));
    byId("rows-said").textContent = `${rows.length} of ${state.rows.length} rows`;
  }

  /* The science rows an encounter may count for, each with its chance. */
  const servedSaid = (served) => served.flatMap((r, k) => [...(k ? [make("br")] : []), make("bdi", {}, tables.serves.science_row[r]), " ", make("data", { "data-at": `serves/counts_chance/${r}`, "data-form": "%0" }, shown(tables.serves.counts_chance[r], "%0"))]);

  function encounterRow({ at, served, values }, columns) {
    const line = make("tr", { "data-probe": values.probe });
    if (values.probe === state.probe) line.setAttribute("aria-current", "true");
    for (const { key, table, form, head, unit } of columns) {
      const cell = make("td", { ...(form === "text" ? {} : { class: "n" }), "data-head": unit ? `${head} (${unit})` : head });
      const said = shown(values[key], form);
      if (key === "probe") cell.append(make("button", { type: "button", "data-choose": values.probe, "aria-label": `probe ${said}` }, said));
      else if (key === "science_row") cell.append(make("span", {}, ...servedSaid(served)));
      else if (form === "text") cell.append(make("bdi", said.length > LONG ? { class: "long" } : {}, said));
      else cell.append(said);
      if (at[table] !== undefined) cell.setAttribute("data-at", `${table}/${key}/${at[table]}`);
      cell.setAttribute("data-form", form);
      line.append(cell);
    }
    return line;
  }

  function csvText() {
    const columns = encounterColumns;
    const quoted = (value) => {
      const said = value === null || value === undefined ? "" : String(value);
      return /[",\r\n]/.test(said) ? `"${said.replaceAll('"', '""')}"` : said;
    };
    const lines = [["plan", ...columns.map(({ key }) => key)], ...visibleRows().map(({ values }) => [state.plan, ...columns.map(({ key }) => values[key])])];
    return lines.map((line) => line.map(quoted).join(",")).join("\r\n") + "\r\n";
  }

  function save(name, kind, content) {
    const link = make("a", { href: URL.createObjectURL(new Blob([content], { type: kind })), download: name });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000); // a busy machine takes its time to save
  }

  /* A figure as a picture of its own, its colours written in, or the numbers it was drawn from. */
  function saveFigure(name, form) {
    const { spec, svg } = drawn[name];
    if (form === "csv") {
      const quoted = (value) => `"${String(value ?? "").replaceAll('"', '""')}"`;
      const lines = spec.layers.flatMap((layer) => (layer.x || []).map((x, k) => [layer.label, x, (layer.y || [])[k], (layer.to || [])[k], (layer.said || [])[k], (layer.key || [])[k]]));
      save(`${name}.csv`, "text/csv", [["layer", spec.x.label, spec.y.label, "to", "text", "plan"], ...lines].map((line) => line.map(quoted).join(",")).join("\r\n"));
      return;
    }
    const copy = svg.cloneNode(true);
    const [from, to] = [svg, copy].map((one) => [one, ...one.querySelectorAll("*")]);
    from.forEach((node, k) => {
      const style = getComputedStyle(node);
      for (const key of ["color", "fill", "stroke", "font-family"]) to[k].setAttribute(key, style.getPropertyValue(key));
    });
    copy.style.background = getComputedStyle(hostOf(name)).backgroundColor;
    save(`${name}.svg`, "image/svg+xml", new XMLSerializer().serializeToString(copy));
  }

  // --- one probe -----------------------------------------------------------------------------------------

  function aimSpec(values) {
    const aim = rowOf("aims", aimOf.get(values.opportunity));
    const at = { x: [values.aim_t_km], y: [values.aim_r_km] }, target = { x: [0], y: [0] };
    const sigma = [aim.sigma_larger_km, aim.sigma_smaller_km, aim.sigma_angle_deg];
    return specOf("b_plane", { probe: values.probe, target: clipped(values.target) }, [
      marked("b_plane", "three", { ...at, to: [3 * sigma[0], 3 * sigma[1], sigma[2]] }),
      marked("b_plane", "one", { ...at, to: sigma }),
      marked("b_plane", "keepout", { ...target, to: [aim.keepout_km, aim.keepout_km, 0] }),
      marked("b_plane", "slew", { ...target, to: [aim.slew_km, aim.slew_km, 0] }),
      marked("b_plane", "aim", at),
      marked("b_plane", "target", target),
    ]);
  }

  function windowsSpec(values) {
    const rows = windowsOf.get(values.target) || [];
    const dates = (some) => ({ x: some.map((k) => tables.windows.release_jd_tdb[k]), y: some.map((k) => tables.windows.encounter_jd_tdb[k]) });
    const layers = carried.burns.map(({ low_m_s, high_m_s, mark }) =>
      ({ ...mark, ...dates(rows.filter((k) => tables.windows.burn_m_s[k] >= low_m_s && tables.windows.burn_m_s[k] < high_m_s)) }));
    const own = marked("windows", "chosen", { x: [values.release_jd_tdb], y: [values.encounter_jd_tdb] });
    return specOf("windows", { target: clipped(values.target) }, [...layers.filter((layer) => layer.x.length), own]);
  }

  function drawProbe() {
    const row = state.rows.find(({ values }) => values.probe === state.probe) || state.rows[0];
    if (!row) { for (const name of ["b_plane", "windows"]) hostOf(name)?.replaceChildren(make("figcaption", {}, "The plan flies no probe.")); return; }
    state.probe = row.values.probe;
    byId("probe").value = String(state.probe);
    if (aimOf.has(row.values.opportunity) && tables.judged) draw(aimSpec(row.values));
    draw(windowsSpec(row.values));
    for (const line of byId("encounters").tBodies[0].rows) line.toggleAttribute("aria-current", line.dataset.probe === String(state.probe));
  }

  function chooseProbe(probe) {
    state.probe = probe;
    drawProbe();
  }

  function fillProbes() {
    byId("probe").replaceChildren(...state.rows.map(({ values }) => make("option", { value: values.probe }, clipped(`${values.probe}: ${values.target}`))));
  }

  // --- choosing ------------------------------------------------------------------------------------------

  /* The probes of a plan that the page does not carry: asked of `swarm show`, and kept. */
  async function load(plan) {
    for (const [name, groups] of [["plans", plansOf], ["successes", returnsOf]]) {
      if (!tables[name]) continue;
      const answer = await fetch(`tables/${name}?plan=${plan}`);
      if (!answer.ok) throw new Error(await answer.text());
      const { columns, count } = await answer.json();
      const first = tables[name].plan.length;
      for (const [key, values] of Object.entries(tables[name])) values.push(...columns[key]);
      groups.set(plan, Array.from({ length: count }, (_, k) => first + k));
    }
  }

  const isThere = (plan) => !carried.on_demand || plansOf.has(plan) || !tables.front.probes[frontOf.get(plan)];

  async function choose(plan) {
    // chosen again, nothing is drawn again: a number box says "change" once more when a row is clicked after it
    if (!frontOf.has(plan) || plan === state.plan) return;
    state.plan = plan;
    let missing = "";
    if (!isThere(plan)) {
      if (location.protocol === "file:") missing = " Its probes are not in this file: the front is too large. swarm show --run DIR loads them.";
      else {
        try { await load(plan); } catch (problem) { missing = ` Its probes could not be loaded: ${problem.message}`; }
        if (state.plan !== plan) return; // another was chosen meanwhile
      }
    }
    state.rows = probesOf(plan);
    state.probe = state.rows.length ? state.rows[0].values.probe : 0;
    byId("plan").value = plan;
    document.documentElement.dataset.plan = plan;
    planSaid();
    if (missing) byId("plan-said").append(missing);
    Object.keys(FRONTS).forEach(ring);
    drawPlan();
  }

  function drawPlan() {
    draw(mapSpec(false));
    draw(mapSpec(true));
    draw(apartSpec());
    drawNow();
    if (tables.events) draw(timelineSpec());
    if (tables.successes) draw(successesSpec());
    drawCompared();
    fillProbes();
    fillFilters();
    drawEncounters();
    drawProbe();
  }

  function drawFixed() {
    for (const [name, spec] of Object.entries(carried.figures)) if (name in FRONTS) drawFront(name); else draw(spec);
  }

  function listen() {
    byId("plan").addEventListener("change", (event) => choose(Number(event.target.value)));
    byId("plan-before").addEventListener("click", () => choose(stepped("front", "ArrowLeft")));
    byId("plan-after").addEventListener("click", () => choose(stepped("front", "ArrowRight")));
    byId("plan-chosen").addEventListener("click", () => choose(carried.plan));
    byId("plan-pin").addEventListener("click", pin);
    for (const id of ["kind", "row"]) byId(id).addEventListener("change", (event) => { state[id] = event.target.value; drawEncounters(); });
    document.addEventListener("click", ({ target }) => { if (target.dataset && target.dataset.save) saveFigure(target.closest("[data-figure]").dataset.figure, target.dataset.save); });
    byId("probe").addEventListener("change", (event) => chooseProbe(Number(event.target.value)));
    byId("filter").addEventListener("input", (event) => { state.filter = event.target.value; drawEncounters(); });
    byId("csv").addEventListener("click", () => save(`encounters-plan-${state.plan}.csv`, "text/csv", csvText()));
    byId("encounters").addEventListener("click", (event) => {
      const button = event.target.closest("button");
      if (!button) return;
      if (button.dataset.choose !== undefined) { chooseProbe(Number(button.dataset.choose)); return; }
      const key = button.dataset.sort;
      state.sort = { key, falling: Boolean(state.sort && state.sort.key === key && !state.sort.falling) };
      drawEncounters();
      byId("encounters").querySelector(`[data-sort="${key}"]`).focus();
    });
    const when = byId("when");
    [when.min, when.max, when.step] = [carried.span[0], carried.span[1], 1];
    when.addEventListener("input", () => { state.when = Number(when.value); drawNow(); });
    byId("when-play").addEventListener("click", play);
    byId("theme").addEventListener("click", () => {
      const root = document.documentElement;
      const dark = root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
      root.dataset.theme = dark ? "light" : "dark";
    });
    let width = document.body.clientWidth, waiting = 0;
    addEventListener("resize", () => {
      if (document.body.clientWidth === width) return;
      width = document.body.clientWidth;
      clearTimeout(waiting);
      waiting = setTimeout(() => { drawFixed(); drawPlan(); }, 150);
    });
    addEventListener("beforeprint", () => document.querySelectorAll("details").forEach((one) => { one.open = true; }));
  }

  let running = 0;

  function play() {
    const button = byId("when-play");
    button.setAttribute("aria-pressed", String(!running));
    button.textContent = running ? "run" : "stop";
    if (running) { clearInterval(running); running = 0; return; }
    running = setInterval(() => {
      state.when += (carried.span[1] - carried.span[0]) / 300;
      if (state.when > carried.span[1]) [state.when] = carried.span;
      drawNow();
    }, 50);
  }

  listen();
  drawFixed();
  choose(carried.plan);
})();
