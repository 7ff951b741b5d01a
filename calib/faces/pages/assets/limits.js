// What would pass, as the server said it last: told before the first reading of an outlet, and compared with digits that are typed
// without network. Nothing is worked out here.
"use strict";
(async () => {
  const told = document.querySelector("[data-limits]");
  const isKept = document.querySelector(".as-of"), isFirst = told && "first" in told.dataset;
  if (!told || !(isKept || isFirst)) return;
  const answer = await fetch(told.dataset.limits).catch(() => null);
  if (!answer?.ok) return;
  const {unit, outlets} = await answer.json(), ends = outlets[told.dataset.outlet], form = told.closest("form");
  if (!ends) return;
  const {from, to} = ends, at = timeOf(answer), isOutside = value => value < Number(from) || value > Number(to);

  const shown = [...form.elements.unit.options].find(option => option.value === unit)?.text ?? unit;
  const planned = isFirst ? `As planned, ${from} to ${to} ${shown} would pass.` : "";

  function compare() {
    const typed = [...form.querySelectorAll("[name^=pass_]")].flatMap(field =>
      field.value.split(/[\s;]+/).filter(Boolean).map(value => ({pass: field.name.slice(5), value: Number(value.replace(",", "."))})));
    const isPlain = form.elements.unit.value === unit && !form.elements.throttled_observations?.value;
    if (!typed.length || !isPlain || typed.some(each => Number.isNaN(each.value))) return void (told.textContent = isPlain ? planned : "");
    const outside = [...new Set(typed.filter(each => isOutside(each.value)).map(each => each.pass))];
    const which = outside.length ? `Pass ${outside.join(", ")}: outside` : "Each pass is within";
    told.textContent = `${which} what would pass, ${from} to ${to} ${unit}, as of ${at}. The server decides.`;
  }
  if (!isKept) return void (told.textContent = planned);
  form.addEventListener("input", compare);
  compare();
})();
