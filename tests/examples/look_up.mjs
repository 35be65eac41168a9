// Look up in a table that `matdb export table PART --axis axial --out table.json` wrote.
// rows: the document's rows; t in degrees Celsius, f in Hz. Answers N/mm and damping ratio.
export function lookUp(rows, t, f) {
  const [kelvin, hertz] = ["temperature_c", "frequency_hz"].map((name) =>
    [...new Set(rows.map((row) => row[name]))].sort((a, b) => a - b));
  if (!(t >= kelvin[0] && t <= kelvin.at(-1) && f >= hertz[0] && f <= hertz.at(-1)))
    throw new RangeError(`${t} degC and ${f} Hz are outside the table`);
  const cold = Math.floor(t);
  const k = Math.min(hertz.findLastIndex((h) => h <= f), hertz.length - 2);
  const u = t - cold, v = Math.log(f / hertz[k]) / Math.log(hertz[k + 1] / hertz[k]);
  const found = { stiffness_n_per_mm: 0, damping_ratio: 0 };
  for (const row of rows) {
    const across = row.temperature_c === cold ? 1 - u : row.temperature_c === cold + 1 ? u : 0;
    const along = row.frequency_hz === hertz[k] ? 1 - v : row.frequency_hz === hertz[k + 1] ? v : 0;
    for (const name in found) found[name] += across * along * row[name];
  }
  return found;
}
