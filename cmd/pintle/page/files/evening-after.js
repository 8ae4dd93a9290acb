// Afterwards: the evenings of the journal, their reports, and the records to keep.
import { el, put, get, field, section, told } from "./evening-kit.js";

let ui, key, wait = 0;

async function find() {
  let r;
  try { r = await get("record", { search: ui.search.input.value }); } catch (e) { told(ui.list, e); return; }
  put(ui.list, el("p", { class: "soft" }, r.evenings.length + " of " + r.of + " evenings" + (r.damaged ? "; " + r.damaged + " damaged lines are left out" : "")),
    r.evenings.map((e) => el("article", { class: "shot" }, el("h2", {}, e.date + ", " + e.site), el("p", {}, (e.within_tolerance ? "✓ " : "✗ ") + e.words + " · " + e.records + (e.records === 1 ? " record" : " records")), e.notes.map((n) => el("p", { class: "soft" }, n)),
      el("a", { href: "api/v1/report?" + new URLSearchParams({ date: e.date, site: e.site_name || e.site }), download: "evening-" + e.date + ".html", class: "report" }, "report of this evening"))),
    r.evenings.length ? null : el("p", {}, r.of ? "No evening has all these words." : "The journal is empty. It fills with every measurement."));
  put(ui.habits, r.habits.length ? r.habits.map((h) => el("p", {}, h)) : el("p", { class: "soft" }, "After three evenings at one place this says how well you set up, and which way you usually err."));
}

export default {
  title: "Afterwards",
  show(root, now) {
    ui = { search: field("Search: date, place or remark", { type: "search", maxlength: 80, id: "search" }), list: el("div", { id: "evenings", "aria-live": "polite" }), habits: el("div", {}) };
    key = null;
    ui.search.input.oninput = () => { clearTimeout(wait); wait = setTimeout(find, 250); };
    root.append(el("h1", {}, "Afterwards"), el("div", { class: "two" }, el("div", {}, ui.search.row, ui.list),
      el("div", {}, section("How repeatable", ui.habits), section("To keep", el("p", {}, el("a", { href: "api/v1/records.csv", download: "pintle-records.csv" }, "all records as comma-separated values"))),
        section("When you pack up", el("p", {}, "Weights and tube come off before the mount is lifted. The evening is kept; starting again goes on with it.")))));
  },
  update(now) {
    const k = JSON.stringify([now.state && now.state.offset_arcmin && now.state.seq]);
    if (k !== key) { key = k; find(); }
  },
};
