"use strict";
/* What a reader chooses on the page: one plan, one probe, one date; the figures (figures.js) and the table follow.
   Everything shown comes from the tables in #data; only of a front too large for that the probes of a plan are asked
   of the server that handed over the page. */
(() => {
  const { carried, element: make } = figures;
  const tables = carried.tables;
  const NOTHING = "\u2013";
  const LONG = 24;
  const NEAR_UP_TO = 0.25; // of the aim's distance: larger ellipses are seen well enough beside the target
  const state = { plan: null, rows: [], pinned: null, kind: "", row: "", probe: 0, when: carried.span[0], sort: null, filter: "" };

  // --- small helpers -------------------------------------------------------------------------------------

  const byId = (id) => document.getElementById(id);
  const { day } = figures;

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
  const imagesOf = tables.images ? new Map(tables.images.opportunity.map((number, k) => [number, k])) : new Map();
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
      const i = imagesOf.get(flown.opportunity);
      const images = i === undefined ? {} : rowOf("images", i);
      const target = t === undefined ? {} : rowOf("targets", t);
      const at = { plans: k, opportunities: chance.row, judged: chance.row, targets: t, images: i };
      const served = servesOf.get(flown.opportunity) || [];
      const science_row = served.map((r) => `${tables.serves.science_row[r]} ${shown(tables.serves.counts_chance[r], "%0")}`).join("; ");
      return { at, served, values: { ...target, ...images, ...judged, ...chance, ...flown, science_row } };
    });
    return found.sort((a, b) => a.values.release_jd_tdb - b.values.release_jd_tdb || a.values.probe - b.values.probe);
  }

  // --- the fronts ----------------------------------------------------------------------------------------

  const FRONTS = { front: "propellant_kg", front_risk: "risk" };
  const orders = {};
  for (const key of Object.values(FRONTS)) {
    const value = tables.front[key], science = tables.front.science;
    orders[key] = value.map((_, k) => k).sort((a, b) => value[a] - value[b] || science[a] - science[b] || a - b).map((k) => tables.front.plan[k]);
  }

  /* A front: a click chooses the plan next to it, arrow keys step through the plans, the pointer is told which plan it is at. */
  function listenToFront(name) {
    const { view, place } = figures.made[name];
    place.classList.add("pick");
    place.setAttribute("role", "application");
    place.setAttribute("aria-label", `${carried.figures[name].title}: choose a plan with the arrow keys. ${place.getAttribute("aria-label")}`);
    view.addEventListener("click", (event) => { const plan = view.signal("dragged") ? null : figures.nearest(name, event); if (plan !== null) choose(plan); });
    place.addEventListener("keydown", (event) => { const plan = stepped(name, event.key); if (plan !== null) { event.preventDefault(); choose(plan); } }, true);
    place.addEventListener("pointermove", (event) => {
      const plan = figures.nearest(name, event);
      if (plan === null) figures.hideTip(); else figures.tipAt(pointedAt(plan), event.clientX, event.clientY);
    });
  }

  /* A mark of a probe: a click chooses it for the aim and the windows. */
  function listenToProbes(name) {
    const { view } = figures.made[name];
    view.addEventListener("click", (event, item) => {
      const key = !view.signal("dragged") && item && item.datum && item.datum.key;
      if (Number.isInteger(key)) chooseProbe(key);
    });
  }

  function pointedAt(plan) {
    const row = rowOf("front", frontOf.get(plan));
    return `Plan ${plan}: ${row.probes} probes, science ${shown(row.science, "3")}, ${shown(row.propellant_kg, "3")} kg, risk ${shown(row.risk, "3")}`;
  }

  function stepped(name, key) {
    const order = orders[FRONTS[name]];
    const at = order.indexOf(state.plan);
    const steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10, Home: -order.length, End: order.length };
    return key in steps ? order[Math.max(0, Math.min(order.length - 1, at + steps[key]))] : null;
  }

  /* The chosen plan and the pinned one, as they are found in a front's looks: the pinned one's ring is dashed. */
  function ring(name) {
    const one = figures.made[name];
    if (!one) return;
    const rings = [[state.pinned, true], [state.plan, false]].filter(([plan]) => frontOf.has(plan));
    figures.over(name, "circled", rings.map(([plan, dashed]) => {
      const k = frontOf.get(plan);
      return { look: one.looks.find((look) => look.kind === "circled" && look.dashed === dashed), x: tables.front[FRONTS[name]][k], y: tables.front.science[k], key: plan };
    }));
  }

  // --- figures of the chosen plan ------------------------------------------------------------------------

  /* A figure of a plan: its texts and marks are those of swarm/report/described.py, filled in; layers give places. */
  function fill(name, filled, layers, names) {
    const title = carried.described[name].title.replace(/\{(\w+)\}/g, (_, key) => filled[key]);
    figures.put(name, layers, { title, names });
  }

  const marked = (name, mark, places) => ({ ...carried.described[name].marks[mark], ...places });

  function putMap(side) {
    const name = side ? "map_side" : "map", up = side ? "z" : "y", map = carried.places;
    const flown = state.rows.map(({ values }) => ({ of: values.opportunity, arc: map.arcs[values.opportunity] })).filter(({ arc }) => arc);
    const met = state.rows.map(({ values }) => map.met[values.opportunity]);
    const planets = Object.values(map.planets);
    fill(name, { plan: state.plan }, [
      ...planets.map((one) => marked(name, "orbit", { x: one.x.slice(0, one.around), y: one[up].slice(0, one.around) })),
      marked(name, "planet", { x: planets.map((one) => one.x[0]), y: planets.map((one) => one[up][0]), said: side ? [] : Object.keys(map.planets) }),
      marked(name, "path", { x: map.path.x, y: map.path[up] }),
      ...flown.map(({ arc, of }) => marked(name, "arc", { x: arc.x, y: arc[up], of })),
      marked(name, "burn", { x: flown.map(({ arc }) => arc.x[0]), y: flown.map(({ arc }) => arc[up][0]) }),
      marked(name, "met", { x: met.map((m) => m[0]), y: met.map((m) => m[side ? 2 : 1]), said: state.rows.map(({ values }) => String(values.probe)), key: state.rows.map(({ values }) => values.probe) }),
      marked(name, "sun", { x: [0], y: [0] }),
    ]);
  }

  function putApart() {
    const flown = state.rows.map(({ values }) => ({ of: values.opportunity, probe: values.probe, arc: carried.places.apart[values.opportunity] })).filter(({ arc }) => arc);
    fill("apart", { plan: state.plan }, [
      ...flown.map(({ arc, of }) => marked("apart", "arc", { ...arc, of })),
      marked("apart", "met", { x: flown.map(({ arc }) => arc.x.at(-1)), y: flown.map(({ arc }) => arc.y.at(-1)), said: flown.map(({ probe }) => String(probe)), key: flown.map(({ probe }) => probe) }),
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
      const up = name === "map" ? "y" : "z";
      const dots = [["now_ship", placeAt(carried.places.path, state.when)]];
      for (const { values } of state.rows) {
        const arc = carried.places.arcs[values.opportunity];
        if (arc) dots.push(["now_probe", placeAt(arc, state.when)]);
      }
      for (const planet of Object.values(carried.places.planets)) dots.push(["now_planet", placeAt(planet, state.when)]);
      figures.over(name, "open", dots.filter(([, at]) => at).map(([mark, at]) => ({ look: carried.described[name].marks[mark], x: at.x, y: at[up] })));
    }
  }

  function putTimeline() {
    const layers = [marked("timeline", "blackout", { x: carried.blackouts.map((span) => span[0]), y: [], to: carried.blackouts.map((span) => span[1]) })];
    const marks = Object.fromEntries(carried.events.map((event) => [event, { x: [], y: [], key: [] }]));
    state.rows.forEach(({ values }, place) => {
      const listed = eventsOf.get(values.opportunity) || [];
      const dates = listed.map((k) => tables.events.t_jd_tdb[k]);
      if (dates.length) layers.push(marked("timeline", "flight", { x: [Math.min(...dates), Math.max(...dates)], y: [place, place], of: values.opportunity }));
      for (const k of listed) {
        marks[tables.events.event[k]].x.push(tables.events.t_jd_tdb[k]);
        marks[tables.events.event[k]].y.push(place);
        marks[tables.events.event[k]].key.push(values.probe);
      }
    });
    for (const event of carried.events) layers.push(marked("timeline", event, marks[event]));
    fill("timeline", { plan: state.plan }, layers, state.rows.map(({ values }) => clipped(`${values.probe}: ${values.target}`)));
  }

  function putSuccesses() {
    const rows = returnsOf.get(state.plan) || [];
    const bars = { x: rows.map((k) => tables.successes.returned[k]), y: rows.map((k) => tables.successes.chance_or_more[k]) };
    fill("successes", { plan: state.plan }, [marked("successes", "returned", bars)]);
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

  // --- one probe -----------------------------------------------------------------------------------------

  function putAim(values) {
    const aim = rowOf("aims", aimOf.get(values.opportunity));
    const at = { x: [values.aim_t_km], y: [values.aim_r_km] }, target = { x: [0], y: [0] };
    const sigma = [aim.sigma_larger_km, aim.sigma_smaller_km, aim.sigma_angle_deg];
    const [three, one] = [{ ...at, to: [3 * sigma[0], 3 * sigma[1], sigma[2]] }, { ...at, to: sigma }];
    const named = { probe: values.probe, target: clipped(values.target) };
    fill("b_plane", named, [
      marked("b_plane", "three", three),
      marked("b_plane", "one", one),
      marked("b_plane", "keepout", { ...target, to: [aim.keepout_km, aim.keepout_km, 0] }),
      marked("b_plane", "slew", { ...target, to: [aim.slew_km, aim.slew_km, 0] }),
      marked("b_plane", "aim", at),
      marked("b_plane", "target", target),
    ]);
    fill("b_plane_near", named, [marked("b_plane_near", "three", three), marked("b_plane_near", "one", one), marked("b_plane_near", "aim", at)]);
    const near = byId("fig-b_plane_near"), hidden = near.hidden;
    near.hidden = 3 * sigma[0] > NEAR_UP_TO * Math.hypot(values.aim_t_km, values.aim_r_km);
    if (hidden && !near.hidden) figures.fit(near);
  }

  function putWindows(values) {
    const rows = windowsOf.get(values.target) || [];
    const dates = (some) => ({ x: some.map((k) => tables.windows.release_jd_tdb[k]), y: some.map((k) => tables.windows.encounter_jd_tdb[k]) });
    const layers = carried.burns.map(({ low_m_s, high_m_s, mark }) =>
      ({ ...mark, ...dates(rows.filter((k) => tables.windows.burn_m_s[k] >= low_m_s && tables.windows.burn_m_s[k] < high_m_s)) }));
    const own = marked("windows", "chosen", { x: [values.release_jd_tdb], y: [values.encounter_jd_tdb] });
    fill("windows", { target: clipped(values.target) }, [...layers, own]);
  }

  function drawProbe() {
    const row = state.rows.find(({ values }) => values.probe === state.probe) || state.rows[0];
    if (!row) { for (const name of ["b_plane", "b_plane_near", "windows"]) { figures.put(name, [], { title: "" }); figures.message(name, "The plan flies no probe."); } return; }
    state.probe = row.values.probe;
    byId("probe").value = String(state.probe);
    if (aimOf.has(row.values.opportunity) && tables.judged) putAim(row.values);
    putWindows(row.values);
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
    putMap(false);
    putMap(true);
    putApart();
    drawNow();
    if (tables.events) putTimeline();
    if (tables.successes) putSuccesses();
    drawCompared();
    fillProbes();
    fillFilters();
    drawEncounters();
    drawProbe();
  }

  function listen() {
    byId("plan").addEventListener("change", (event) => choose(Number(event.target.value)));
    byId("plan-before").addEventListener("click", () => choose(stepped("front", "ArrowLeft")));
    byId("plan-after").addEventListener("click", () => choose(stepped("front", "ArrowRight")));
    byId("plan-chosen").addEventListener("click", () => choose(carried.plan));
    byId("plan-pin").addEventListener("click", pin);
    for (const id of ["kind", "row"]) byId(id).addEventListener("change", (event) => { state[id] = event.target.value; drawEncounters(); });
    byId("probe").addEventListener("change", (event) => chooseProbe(Number(event.target.value)));
    byId("filter").addEventListener("input", (event) => { state.filter = event.target.value; drawEncounters(); });
    byId("csv").addEventListener("click", () => figures.file(`encounters-plan-${state.plan}.csv`, "text/csv", csvText()));
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
      figures.dress();
    });
    let width = document.body.clientWidth, waiting = 0;
    addEventListener("resize", () => {
      if (document.body.clientWidth === width) return;
      width = document.body.clientWidth;
      clearTimeout(waiting);
      waiting = setTimeout(() => figures.fit(), 150);
    });
    document.addEventListener("toggle", ({ target }) => { if (target.open) figures.fit(target); }, true);
    addEventListener("beforeprint", () => { document.querySelectorAll("details.narrow").forEach((one) => { one.open = true; }); figures.fit(); });
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

  if (matchMedia("(max-width: 40rem)").matches) document.querySelectorAll("details.narrow").forEach((one) => { one.open = false; });
  Object.keys(carried.figures).forEach(figures.show);
  Object.keys(FRONTS).filter((name) => name in figures.made).forEach(listenToFront);
  ["map", "map_side", "apart", "timeline"].filter((name) => name in figures.made).forEach(listenToProbes);
  listen();
  choose(carried.plan);
})();
