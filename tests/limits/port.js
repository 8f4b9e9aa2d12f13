// The evaluator's port: what fleet.limits.evaluate says of a card and a visit's readings, without words.
// Python's None is null or undefined here, for which `== null` asks.
const GROUPS = ["stop_levels", "bands", "orders", "ceilings", "limits"], PHASES = ["as_found", "as_left"];
const OUTCOMES = ["outside", "cannot_tell", "not_judged", "within"], UNUSABLE = ["not_measured", "sensor_fault"];
const [OUTSIDE, CANNOT_TELL, NOT_JUDGED, WITHIN] = OUTCOMES;
const DERIVED = ["key", "derived", "o2_pct", "co2_pct", "co_ppm_air_free", "co_co2_ratio", "excess_air_ratio"];
const UNKNOWN = Object.fromEntries([["co_ppm", 20, 5], ["o2_pct", 0.3, 0], ["co2_pct", 0.3, 0]]
  .map(([field, absolute, relative_pct]) => [field, { absolute, relative_pct }]));
const coded = (code, figures = {}) => [[code, figures]];
const same = (one, other) => (one ?? null) === (other ?? null);
const bare = (field) => field.slice(0, Math.max(0, field.lastIndexOf("_")));
const saidOf = ({ qualifiers: said }, field) => said?.[field] || said?.[bare(field)] || "=";
const qualifier = (each, field) => field === "excess_air_ratio" && saidOf(each, "co_ppm") === "more_than" ? "less_than"
  : [saidOf(each, field)].find((said) => !UNUSABLE.includes(said)) ?? "=";
const expanded = (of, value) => of ? Math.max(of.absolute, of.relative_pct / 100 * Math.abs(value)) : null;

function evaluate(card, readings) {
  if (card.card_version !== 2) throw new Error("a card of another version");
  const cases = readCases(card, readings), rows = GROUPS.flatMap((group) => card[group]);
  const verdicts = rows.filter((row) => row.op !== "missing").flatMap((row) => judgeRow(row, cases, card));
  const kept = rows.filter((row) => row.op === "missing"), stop = verdicts.some((each) => each.stop);
  const noFigure = ({ o2_pct }) => coded("no_air_free_figure", { o2_pct });
  const diluted = (each) =>
    verdictOn(card.dilution, each, NOT_JUDGED, noFigure(each), each.co_ppm, qualifier(each, "co_ppm"));
  verdicts.push(...kept.map((row) => judgePresence(row, cases, stop)));
  verdicts.push(...cases.filter((each) => each.too_dilute).map(diluted));
  const place = (verdict) => OUTCOMES.indexOf(verdict.outcome);
  verdicts.sort((one, other) => place(one) - place(other) || other.rank - one.rank);
  const derived = cases.map((each) => Object.fromEntries(DERIVED.map((name) => [name, each[name] ?? null])));
  return { stop, verdicts, derived };
}

function readCases(card, readings) {
  const cases = [], order = (reading) => reading.taken_order || 0;
  for (const reading of [...readings].sort((one, other) => order(one) - order(other))) {
    const each = completed(card.fuel, usable(reading)), now = each.ambient_co_ppm;
    const room = cases.flatMap((before) => [before.ambient_co_before_ppm, before.ambient_co_ppm]);
    const starts = [each.ambient_co_before_ppm, ...room].filter((ppm) => ppm != null);
    each.ambient_co_rise_ppm = now == null || !starts.length ? null : now - Math.min(...starts);
    each.doubtful = each.invalid ? coded("invalid") : null;
    each.doubt = each.doubtful ?? (each.sampling_point === "common_flue" ? coded("common_flue")
      : each.too_dilute ? coded("mostly_air", { o2_pct: each.o2_pct })
      : each.steady === false ? coded("not_steady") : null);
    each.co_while_rising_ppm = coWhileRising(each, cases, card.co_rise_ppm);
    cases.push(each);
  }
  const left = cases.filter((each) => each.phase === "as_left").map((each) => each.rate ?? null);
  const acts = (name) => card.adjusters.find((each) => each.name === name)?.rate ?? "any";
  for (const each of cases) {
    const moved = (each.work_after ?? []).some((name) => ["any", each.rate].includes(acts(name)));
    each.stands_as_left = each.phase === "as_found" && !left.includes(each.rate ?? null) && !moved;
  }
  return cases;
}

const usable = (reading) => Object.fromEntries(Object.entries(reading).map(([field, value]) => {
  if (UNUSABLE.includes(saidOf(reading, field)) || Number.isNaN(value)) return [field, null];
  return [field, field === "oil_derivatives" && typeof value === "boolean" ? (value ? "present" : "none") : value];
}));

function completed(fuel, each) {
  const top = fuel.co2_max_pct, span = top - fuel.co2_air_pct, air = fuel.o2_air_pct;
  const co = each.co_ppm, y = (co ?? 0) / 1e4, left = 1 - y / 200;
  let { o2_pct: o2 = null, co2_pct: co2 = null } = each, derived = "";
  const fromCo2 = o2 === null && co2 !== null && co2 <= top, fromO2 = co2 === null && o2 !== null;
  const o2Of = (whole) => (top - whole) * air / span * left + y / 2;
  if (fromCo2) [o2, derived] = [Math.max(0, o2Of((co2 + y) / left)), "o2_pct"];
  if (fromO2) [co2, derived] = [Math.max(0, (top - span * ((o2 - y / 2) / left) / air) * left - y), "co2_pct"];
  const dilute = o2 !== null && o2 >= fuel.o2_too_dilute_pct, burnt = o2 === null ? -1 : (o2 - y / 2) / left;
  return Object.assign(each, {
    o2_pct: o2, co2_pct: co2, derived, too_dilute: dilute,
    co_ppm_air_free: co == null || o2 === null || dilute ? null : co * 20.9 / (20.9 - o2),
    co_co2_ratio: co == null || co2 === null || co2 <= 0 || dilute || top < 1 ? null : co / (co2 * 1e4),
    excess_air_ratio: burnt < 0 || burnt >= air ? null : 1 + fuel.dry_products_per_air * burnt / (air - burnt),
  });
}

function coWhileRising(each, earlier, leastRise) {
  let adjusted = each.adjusted_before, highest = null;
  for (const before of each.co_ppm == null ? [] : [...earlier].reverse()) {
    if (same(before.rate, each.rate) && same(before.sampling_point, each.sampling_point) && before.co_ppm != null) {
      const field = [before, each].some((at) => at.co_ppm_air_free === null) ? "co_ppm" : "co_ppm_air_free";
      highest = Math.max(highest, each[field] - before[field] >= leastRise ? each[field] : 0);
      if (adjusted) break;
    }
    adjusted = adjusted || before.adjusted_before;
  }
  return highest;
}

function judgeRow(row, cases, card) {
  if (row.measure === null) return [verdictOn(row, {}, NOT_JUDGED, [row.needs])];
  const needed = { at: row.rates === null ? "" : row.rate_text, phases: row.phases ?? [] };
  const inPlace = (each) => (each.sampling_point !== "room" || !row.measure.in_flue);
  const named = (names, name) => names === null || names.includes(name);
  const inPhase = (each) =>
    named(row.phases, each.phase) || (each.stands_as_left && row.phases.includes("as_left"));
  const met = cases.filter((each) => inPlace(each) && named(row.rates, each.rate) && inPhase(each));
  const judged = row.kind === "order" ? judgeOrder(row, met, card) : met.flatMap((each) => judgeCase(row, each, card));
  return judged.length ? judged : [verdictOn(row, {}, NOT_JUDGED, coded("needs_reading", needed))];
}

function doubtOf(row, each) {
  const own = row.measure.in_flue ? each.doubt : each.doubtful;
  if (own || (row.rates !== null && !each.rate_proven)) return own ?? coded("rate_not_proven");
  const casing = row.casing === null || row.casing === each.casing;
  return casing ? null : coded("other_casing", { casing: row.casing, read_with: each.casing || "" });
}

function judgeCase(row, each, card) {
  const [value, said, uncertainty] = measured(row.measure, each, card), doubt = doubtOf(row, each);
  if (value == null) return row.every_reading ? [verdictOn(row, each, NOT_JUDGED, coded("not_read"))] : [];
  const fires = firesOn(row, value, said, uncertainty, card.margins), open = row.unrecorded, facts = { facts: open };
  const [outcome, reasons] = open.length && !(fires && row.stop) ? [CANNOT_TELL, coded("applies_unknown", facts)]
    : row.range_end !== null && value > row.range_end ? [NOT_JUDGED, coded("above_range")]
    : fires && !(doubt && row.kind === "band")
    ? [OUTSIDE, [...(open.length ? coded("facts_not_recorded", facts) : []), ...(doubt ?? [])]]
    : doubt || said === "at_least" ? [NOT_JUDGED, doubt ?? coded("o2_and_co2_not_read")]
    : fires === null ? [CANNOT_TELL, coded(said === "=" ? "beyond_accuracy" : "only_a_bound")] : [WITHIN, []];
  return [verdictOn(row, each, outcome, reasons, value, said)];
}

function measured({ field, scaled_by: by, factor, o2_in_air_pct: air, whole }, each, card) {
  const { fuel, analyser } = card, raw = each[field], said = qualifier(each, field);
  if (raw == null || typeof raw === "string") return [raw, "=", null];
  const known = by && !each.too_dilute ? each[by] : null, left = known === null || air === null ? known : air - known;
  const bound = by && !(left > 0), span = !by ? 1 : bound ? air ?? fuel.co2_max_pct : left;
  let value = bound && said === "less_than" ? 0 : raw * factor / span;
  if (bound && value && each.too_dilute) value = Math.max(value, leastOfDiluted({ field, factor, air }, each, card));
  if (whole) value = Math.floor(value + 0.5);
  if (bound || each.too_dilute) return [value, bound && said !== "more_than" ? "at_least" : said, null];
  const own = expanded(analyser.accuracy[field], raw), other = by ? expanded(analyser.accuracy[by], known) : 0;
  const [one, two] = [own * factor / span, value * other / span];
  return [value, said, own === null || other === null ? null : Math.sqrt(one * one + two * two)];
}

function leastOfDiluted({ field, factor, air }, each, { fuel, analyser }) {
  const { co_ppm: read, o2_pct: o2, co2_pct: co2, derived } = each, span = fuel.co2_max_pct - fuel.co2_air_pct;
  if (field !== "co_ppm" || read == null || o2 >= 20) return 0;
  const allowance = (of, value) => expanded(analyser.accuracy[of] ?? UNKNOWN[of], value);
  const co = Math.max(0, read - allowance("co_ppm", read)), u = allowance("co2_pct", co2);
  const measuredCo2 = analyser.co2 === "measured" && derived !== "co2_pct";
  if (air === null) return measuredCo2 ? co * factor / (Math.max(0, co2) + u) : 0;
  const ofO2 = derived === "o2_pct" ? u * fuel.o2_air_pct / span : allowance("o2_pct", o2);
  return co * factor / (air - o2 + ofO2);
}

function firesOn(row, value, said, uncertainty, margins) {
  if (row.op === "!=") return value !== row.limit;
  if (typeof value !== "number") throw new Error(`${row.measure.field} must be a number`);
  if (said === "more_than" && row.upper !== null) return true;
  const low = said === "less_than" ? -Infinity : value, high = said === "=" || said === "less_than" ? value : Infinity;
  const [firesAt, keptTo] = margins[said === "=" ? row.decision_rule : "simple"], reach = uncertainty || 0;
  if (broken(row, high - firesAt * reach, low + firesAt * reach)) return true;
  const open = (uncertainty === null && keptTo > 0) || broken(row, low - keptTo * reach, high + keptTo * reach);
  return open ? null : false;
}

function broken({ lower, upper, upper_open: open }, low, high) {
  const above = (a, b) => a > b && a - b > 1e-9 * Math.max(1e-3, Math.min(Math.abs(a), Math.abs(b)));
  return (upper !== null && (open ? !above(upper, high) : above(high, upper))) || (lower !== null && above(lower, low));
}

function judgeOrder(row, read, card) {
  const field = row.measure.field, plain = (each) => qualifier(each, field) === "=" && !doubtOf(row, each);
  return PHASES.filter((phase) => read.some((each) => each.phase === phase)).map((phase) => {
    const last = [];
    for (const rate of row.rates) {
      const at = read.filter((each) => each.phase === phase && each.rate === rate && each[field] !== null);
      const doubt = at.length ? doubtOf(row, at.at(-1)) ?? coded("not_a_plain_figure") : coded("rate_not_read");
      const [[code, figures]] = doubt, usable = at.findLast(plain);
      if (!usable) return verdictOn(row, { phase }, NOT_JUDGED, coded(code, { ...figures, of_rate: rate }));
      last.push(usable);
    }
    const [higher, lower] = last;
    if (!same(higher.casing, lower.casing)) return verdictOn(row, { phase }, NOT_JUDGED, coded("different_casings"));
    const gap = higher[field] - lower[field], fires = firesOn(row, gap, "=", null, card.margins);
    return verdictOn(row, { phase }, fires ? OUTSIDE : WITHIN, [], gap, "=");
  });
}

function judgePresence(row, cases, stop) {
  const pair = row.quantity === "co_and_o2_pair", last = pair ? "o2_pct" : "co_ppm";
  const read = cases.filter((each) => !each.invalid && each.co_ppm != null && each[last] != null);
  const [found, left] = PHASES.map((phase) => read.filter((each) => !pair || each.phase === phase));
  const kept = found.some((one) => left.some((other) => same(one.rate, other.rate)));
  if (kept) return verdictOn(row, {}, WITHIN, []);
  return stop ? verdictOn(row, {}, NOT_JUDGED, coded("stopped")) : verdictOn(row, {}, OUTSIDE, coded("not_on_record"));
}

function verdictOn(row, { key = null, rate = null, phase = null }, outcome, reasons, value = null, said = "") {
  const { kind, set_id, limit_id, quantity, rank } = row, stop = outcome === OUTSIDE && row.stop;
  const own = { reading_key: key, rate, phase, value, qualifier: value === null ? "not_measured" : said };
  return { kind, set_id, limit_id, quantity, rank, ...own, outcome, reasons, stop };
}
