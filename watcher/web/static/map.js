// The editor of a boundary: corners tapped, moved, walked or read from a file, on a plain grid or
// over pictures of the ground. What counts is the text of the corners in the form; what a shape
// comes to (area, distances, what it overlaps, whether it can be) the watch says.
// Of one place (about.one) it is the map that the place is tapped on: one corner, the world behind.
const byId = (id) => document.getElementById(id);
const draw = byId("draw"), grid = byId("grid"), says = byId("draw-says"), result = byId("draw-result");
const about = JSON.parse(draw.dataset.map), text = byId(about.one ? "f-place" : "f-corners"), words = draw.dataset, form = draw.closest("form");
draw.hidden = false;

// Where things are. The map is the square of EPSG:3857, as tiles have it; lengths are of WGS 84.
const TILE = 256, NEAREST = TILE * 2 ** 22, FURTHEST = about.one ? TILE : TILE * 2 ** 4, MOST_LATITUDE = 85.05;
const radians = (degrees) => degrees * Math.PI / 180;
const toSquare = ([lat, lon]) => [(lon + 180) / 360, 0.5 - Math.asinh(Math.tan(radians(Math.max(-MOST_LATITUDE, Math.min(MOST_LATITUDE, lat))))) / (2 * Math.PI)];
const toDegrees = ([x, y]) => [Math.atan(Math.sinh(Math.PI * (1 - 2 * y))) * 180 / Math.PI, x * 360 - 180];
const metresADegree = (lat) => {
  const a = 6378137, e2 = 0.00669437999014, w = Math.sqrt(1 - e2 * Math.sin(radians(lat)) ** 2);
  return { north: radians(1) * a * (1 - e2) / w ** 3, east: radians(1) * a * Math.cos(radians(lat)) / w };
};
let size = [400, 400], middle = [0.5, 0.5], world = TILE * 2 ** 15;
const toPaper = (at) => { const [x, y] = toSquare(at); return [size[0] / 2 + (x - middle[0]) * world, size[1] / 2 + (y - middle[1]) * world]; };
const toPlace = ([x, y]) => toDegrees([middle[0] + (x - size[0] / 2) / world, middle[1] + (y - size[1] / 2) / world]);
const here = () => toDegrees(middle);
// Of one place no more digits than its map shows: a tap on the world is no farm to the metre.
const digits = () => (about.one ? Math.max(0, Math.min(6, Math.ceil(Math.log10(world / 360)))) : 7);
const inDigits = ([lat, lon]) => `${lat.toFixed(digits())}, ${lon.toFixed(digits())}`;
const metresAPixel = () => metresADegree(here()[0]).east * 360 / world;

// The corners: parts with an empty line between them, as the watch reads them.
const read = (from) => from.replace(/\r/g, "").split(/\n\s*\n/).map((part) => part.split("\n")
  .map((line) => line.trim().split(/[,;\s]+/).map(Number)).filter((at) => at.length === 2 && at.every(Number.isFinite)))
  .filter((part) => part.length);
const isTyped = (from) => /^[\d\s.,;+-]*$/.test(from);
const written = (parts) => parts.filter((part) => part.length).map((part) => part.map(inDigits).join("\n")).join("\n\n");
let parts = isTyped(text.value) ? read(text.value) : [];
let chosen = parts.length ? [parts.length - 1, parts[parts.length - 1].length - 1] : null;
let newPart = false, past = [], ahead = [], kept = text.value, wrongAt = null, me = null, sure = null;
const corner = ([p, i]) => parts[p] && parts[p][i];
const count = () => parts.reduce((sum, part) => sum + part.length, 0);
const show = () => { paint(); lookSoon(); };
const put = () => { text.value = written(parts); };
const keep = () => {
  put();
  if (text.value !== kept) { past.push(kept); ahead = []; kept = text.value; }
  show();
};
const backTo = (from, to) => {
  if (!from.length) return;
  to.push(kept);
  kept = from.pop();
  text.value = kept;
  parts = isTyped(kept) ? read(kept) : [];
  if (!chosen || !corner(chosen)) chosen = parts.length ? [parts.length - 1, parts[parts.length - 1].length - 1] : null;
  show();
};
const undo = () => backTo(past, ahead), redo = () => backTo(ahead, past);
const add = (at, keeps = true) => {
  if (about.one) { parts = [[at]]; chosen = [0, 0]; middle = toSquare(at); }
  else if (!parts.length || newPart) { parts.push([at]); chosen = [parts.length - 1, 0]; newPart = false; }
  else {
    const [p, i] = chosen || [parts.length - 1, parts[parts.length - 1].length - 1];
    parts[p].splice(i + 1, 0, at);
    chosen = [p, i + 1];
  }
  if (keeps) keep();
};
const takeOut = () => {
  if (!chosen || !corner(chosen)) return;
  const [p, i] = chosen;
  parts[p].splice(i, 1);
  if (!parts[p].length) { parts.splice(p, 1); chosen = parts.length ? [0, parts[0].length - 1] : null; } else chosen = [p, Math.max(0, i - 1)];
  keep();
};
const midway = ([p, i]) => {
  const a = toSquare(parts[p][i]), b = toSquare(parts[p][(i + 1) % parts[p].length]);
  return toDegrees([(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]);
};
const addMidway = () => { if (chosen && corner(chosen)) add(midway(chosen)); };
const step = () => (about.one ? 5 * metresAPixel() : Number(byId("step").value));
const moveCorner = (east, north, times = 1) => {
  if (!chosen || !corner(chosen)) return;
  const [lat, lon] = corner(chosen), a = metresADegree(lat), by = step() * times;
  parts[chosen[0]][chosen[1]] = [lat + north * by / a.north, lon + east * by / a.east];
  keep();
};
const otherCorner = (by) => {
  const all = parts.flatMap((part, p) => part.map((_, i) => [p, i]));
  if (!all.length) return;
  const at = all.findIndex(([p, i]) => chosen && p === chosen[0] && i === chosen[1]);
  chosen = all[(at + by + all.length) % all.length];
  lookAtChosen();
  paint();
};
const lookAtChosen = () => {
  const [x, y] = toPaper(corner(chosen));
  if (x < 0 || y < 0 || x > size[0] || y > size[1]) middle = toSquare(corner(chosen));
};

// The map as it is looked at.
const SVG = "http://www.w3.org/2000/svg";
const made = (name, is, into) => {
  const part = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(is)) part.setAttribute(key, value);
  if (into) into.append(part);
  return part;
};
const ground = made("g", { "aria-hidden": "true" }, grid), sheet = made("g", {}, grid);
const line = (all) => all.map(toPaper).map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L");
const closed = (rings) => rings.map((ring) => `M${line(ring)}Z`).join("");
const ringsOf = (shape) => (shape.type === "Polygon" ? [shape.coordinates] : shape.coordinates).flat().map((ring) => ring.map(([lon, lat]) => [lat, lon]));
const around = about.around.map((one) => ({ ...one, rings: ringsOf(one.shape) }));
const roundLength = (most) => {
  const wanted = most / about.unitM, power = 10 ** Math.floor(Math.log10(wanted));
  return Math.max(...[1, 2, 5].map((r) => r * power).filter((n) => n <= wanted)) * about.unitM;
};
const said = (metres) => `${Number((metres / about.unitM).toPrecision(3))} ${about.unit}`;
const ROUND_DEGREES = [45, 30, 15, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001];
// Lines of latitude and longitude, where one place is looked for; returns how far apart they are.
const graticule = () => {
  const [w, h] = size, [north, west] = toPlace([0, 0]), [south, east] = toPlace([w, h]);
  const apart = ROUND_DEGREES.findLast((one) => one * world / 360 >= w / 9) || ROUND_DEGREES[0];
  const from = (edge) => Math.ceil(edge / apart) * apart;
  for (let lon = from(west); lon <= east; lon += apart) made("path", { class: "grid", d: `M${toPaper([0, lon])[0]} 0V${h}` }, sheet);
  for (let lat = from(south); lat <= north; lat += apart) made("path", { class: "grid", d: `M0 ${toPaper([lat, 0])[1]}H${w}` }, sheet);
  return apart;
};
const HANDLE = 24, MOST_HANDLES = 80, LEAST_EDGE = 64;
const paint = () => {
  const focused = document.activeElement && document.activeElement.closest && document.activeElement.closest(".corner") !== null;
  sheet.replaceChildren();
  const [w, h] = size, square = roundLength(metresAPixel() * w / 6), gap = square / metresAPixel();
  const apart = about.one ? graticule() : null;
  if (!about.one) for (let x = (w / 2) % gap; x < w; x += gap) made("path", { class: "grid", d: `M${x} 0V${h}` }, sheet);
  if (!about.one) for (let y = (h / 2) % gap; y < h; y += gap) made("path", { class: "grid", d: `M0 ${y}H${w}` }, sheet);
  for (const one of around) made("path", { class: one.kind, d: closed(one.rings), "fill-rule": "evenodd" }, sheet);
  if (count() > 1) made("path", { class: "mine", d: closed(parts), "fill-rule": "evenodd" }, sheet);
  if (me) {
    const [x, y] = toPaper(me.at);
    made("circle", { class: "me-within", cx: x, cy: y, r: Math.max(me.within / metresAPixel(), 1) }, sheet);
    made("circle", { class: "me", cx: x, cy: y, r: 7 }, sheet);
  }
  if (wrongAt) { const [x, y] = toPaper(wrongAt); made("path", { class: "wrong-at", d: `M${x - 14} ${y - 14}L${x + 14} ${y + 14}M${x + 14} ${y - 14}L${x - 14} ${y + 14}` }, sheet); }
  made("path", { class: "cross", d: `M${w / 2 - 12} ${h / 2}H${w / 2 + 12}M${w / 2} ${h / 2 - 12}V${h / 2 + 12}` }, sheet);
  const many = count() > MOST_HANDLES;
  let number = 0, wanted = null;
  const handles = [];
  for (const [p, part] of parts.entries()) for (const [i, at] of part.entries()) {
    number += 1;
    const on = chosen && chosen[0] === p && chosen[1] === i, [x, y] = toPaper(at);
    const next = toPaper(part[(i + 1) % part.length]);
    if (part.length > 2 && !many && Math.hypot(next[0] - x, next[1] - y) >= LEAST_EDGE) {
      const between = toPaper(midway([p, i])), g = made("g", { class: "between", "data-at": `${p} ${i}`, "aria-hidden": "true" }, sheet);
      made("circle", { class: "hit", cx: between[0], cy: between[1], r: HANDLE }, g);
      made("circle", { class: "dot", cx: between[0], cy: between[1], r: 6 }, g);
    }
    if (!on && many) continue;
    const is = { class: on ? "corner chosen" : "corner", "data-at": `${p} ${i}`, tabindex: "0", role: "button", "aria-pressed": String(Boolean(on)), "aria-label": about.one ? words.corner : `${words.corner} ${number}` };
    handles.push([is, x, y, on]);
  }
  // The chosen one lies on top.
  for (const [is, x, y, on] of handles.sort((a, b) => Number(Boolean(a[3])) - Number(Boolean(b[3])))) {
    const g = made("g", is, sheet);
    made("circle", { class: "hit", cx: x, cy: y, r: HANDLE }, g);
    made("circle", { class: "dot", cx: x, cy: y, r: on ? 12 : 9 }, g);
    if (on) wanted = g;
  }
  if (focused && wanted) wanted.focus({ preventScroll: true });
  const all = parts.flatMap((part, p) => part.map((_, i) => `${p} ${i}`)), at = chosen ? all.indexOf(chosen.join(" ")) + 1 : 0;
  const seen = about.one ? [`${words.cross} ${inDigits(here())}`, `${words.apart} ${apart}°`].filter(() => byId("place-map").open) : [`${words.corners} ${count()}`, ...(at ? [`${words.chosen} ${at}`] : []), `${words.square} ${said(square)}`];
  says.textContent = [...seen, ...(sure === null ? [] : [`${words.within} ${Math.round(sure)}`])].join(" · ");
  byId("undo").disabled = !past.length;
  byId("redo").disabled = !ahead.length;
  for (const id of about.one ? [] : ["take-out", "corner-midway"]) byId(id).disabled = !(chosen && corner(chosen));
  rule();
  tilesSoon();
};
const rule = () => {
  const ruler = byId("ruler"), long = roundLength(metresAPixel() * size[0] / 3), px = long / metresAPixel();
  ruler.setAttribute("viewBox", `0 0 ${size[0]} 26`);
  ruler.replaceChildren();
  made("path", { class: "arrow", d: "M12 2L18 22L12 18L6 22Z" }, ruler);
  made("text", { x: 24, y: 20 }, ruler).textContent = "N";
  made("path", { class: "ruler", d: `M52 11V18H${52 + px}V11` }, ruler);
  made("text", { x: 60 + px, y: 20 }, ruler).textContent = said(long);
};
const zoom = (by, at = [size[0] / 2, size[1] / 2]) => {
  const before = toSquare(toPlace(at));
  world = Math.max(FURTHEST, Math.min(NEAREST, world * by));
  middle = [before[0] - (at[0] - size[0] / 2) / world, before[1] - (at[1] - size[1] / 2) / world];
  paint();
};
const pan = (x, y) => { middle = [Math.max(0, Math.min(1, middle[0] - x / world)), Math.max(0, Math.min(1, middle[1] - y / world))]; paint(); };
const fit = (places) => {
  const all = places.map(toSquare), [xs, ys] = [0, 1].map((k) => all.map((at) => at[k]));
  const [west, east, north, south] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  middle = [(west + east) / 2, (north + south) / 2];
  world = Math.max(FURTHEST, Math.min(NEAREST, 0.75 * Math.min(size[0] / Math.max(east - west, 1e-9), size[1] / Math.max(south - north, 1e-9))));
};
const wholeOf = () => (count() ? parts.flat() : around.flatMap((one) => one.rings.flat()));
const START_M = about.one ? 20000 : 1000;
const begin = (at) => { middle = toSquare(at); world = metresADegree(at[0]).east * 360 * size[0] / START_M; };

const wholeWorld = () => { middle = [0.5, 0.5]; world = size[0]; };
const lookAt = () => { if (about.one) begin(corner([0, 0])); else fit(parts.flat()); };

// Where there are no pictures and one place is looked for: the land, as far as its drawing bears it.
const land = about.land ? made("image", { preserveAspectRatio: "none" }, ground) : null, LAND_TO = TILE * 2 ** 6;
// Pictures of the ground, from the watch: those on the screen, once it stands still.
const onGround = new Map(), failed = new Map(), AGAIN_MS = 60000;
let tilesTimer = null, missing = 0;
const tilesSoon = () => {
  if (about.one && !byId("place-map").open) return;
  if (land && !land.hasAttribute("href")) land.setAttribute("href", about.land);
  if (land) { land.setAttribute("visibility", world > LAND_TO ? "hidden" : "visible"); if (world <= LAND_TO) placeTile(land, 0, 0, 0); }
  if (!about.tiles) return;
  placeTiles();
  clearTimeout(tilesTimer);
  tilesTimer = setTimeout(askTiles, 250);
};
const placeTile = (image, z, x, y) => {
  const long = world / 2 ** z;
  for (const [key, value] of Object.entries({ x: size[0] / 2 + (x / 2 ** z - middle[0]) * world, y: size[1] / 2 + (y / 2 ** z - middle[1]) * world, width: long + 0.3, height: long + 0.3 })) image.setAttribute(key, value.toFixed(2));
};
const placeTiles = () => { for (const [key, image] of onGround) placeTile(image, ...key.split("/").map(Number)); };
const askTiles = () => {
  const z = Math.max(0, Math.min(about.greatest, Math.round(Math.log2(world / TILE)))), n = 2 ** z;
  const reach = [size[0] / 2 / world, size[1] / 2 / world], within = (k) => Math.max(0, Math.min(n - 1, k));
  const wanted = new Set();
  for (let x = within(Math.floor((middle[0] - reach[0]) * n)); x <= within(Math.floor((middle[0] + reach[0]) * n)); x++)
    for (let y = within(Math.floor((middle[1] - reach[1]) * n)); y <= within(Math.floor((middle[1] + reach[1]) * n)); y++) wanted.add(`${z}/${x}/${y}`);
  for (const [key, image] of onGround) if (!wanted.has(key)) { image.remove(); onGround.delete(key); }
  for (const key of wanted) {
    if (onGround.has(key) || Date.now() - (failed.get(key) || 0) < AGAIN_MS) continue;
    const image = made("image", { preserveAspectRatio: "none" });
    placeTile(image, ...key.split("/").map(Number));
    image.addEventListener("error", () => { missing += 1; failed.set(key, Date.now()); image.remove(); onGround.delete(key); groundSays(); });
    image.addEventListener("load", () => { missing = 0; groundSays(); });
    onGround.set(key, image);
    image.setAttribute("href", `${about.tiles}/${key}`);
    ground.append(image);
  }
};
const groundSays = () => {
  const none = missing > 0;
  byId("tiles-says").hidden = !none;
  byId("tiles-says").textContent = none ? words.noTiles : "";
  grid.classList.toggle("over-ground", !none && onGround.size > 0);
};

// Fingers: one moves a corner or the map, two the map and its scale; a tap sets a corner.
const down = new Map();
let doing = null;
const MOVED = 6;
const onPaper = (event) => {
  const box = grid.getBoundingClientRect();
  return [(event.clientX - box.left) / box.width * size[0], (event.clientY - box.top) / box.height * size[1]];
};
grid.addEventListener("pointerdown", (event) => {
  if (event.button) return;
  const at = onPaper(event);
  down.set(event.pointerId, at);
  grid.setPointerCapture(event.pointerId);
  if (down.size === 2) {
    if (doing && doing.moved && doing.was) { parts = read(doing.was); put(); }
    const [a, b] = [...down.values()];
    doing = { pinch: Math.hypot(a[0] - b[0], a[1] - b[1]), centre: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] };
    return;
  }
  const held = event.target.closest("[data-at]");
  doing = { from: at, last: at, moved: false, was: written(parts), held: held && held.dataset.at.split(" ").map(Number), between: held && held.classList.contains("between") };
  event.preventDefault();
  if (!held) grid.focus({ preventScroll: true });
});
grid.addEventListener("pointermove", (event) => {
  if (!down.has(event.pointerId) || !doing) return;
  const at = onPaper(event);
  down.set(event.pointerId, at);
  if (doing.pinch) {
    if (down.size < 2) return;
    const [a, b] = [...down.values()], apart = Math.hypot(a[0] - b[0], a[1] - b[1]), centre = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
    pan(centre[0] - doing.centre[0], centre[1] - doing.centre[1]);
    if (apart > 1) zoom(apart / doing.pinch, centre);
    doing.pinch = apart;
    doing.centre = centre;
    return;
  }
  if (!doing.moved && Math.hypot(at[0] - doing.from[0], at[1] - doing.from[1]) < MOVED) return;
  if (!doing.moved && doing.held) {
    chosen = doing.held;
    if (doing.between) { add(midway(doing.held), false); }
  }
  doing.moved = true;
  if (doing.held) { parts[chosen[0]][chosen[1]] = toPlace(at); put(); show(); } else pan(at[0] - doing.last[0], at[1] - doing.last[1]);
  doing.last = at;
});
const lifted = (event) => {
  if (!down.delete(event.pointerId) || !doing) return;
  const was = doing;
  if (was.pinch) { if (!down.size) doing = null; return; }
  doing = null;
  if (event.type === "pointercancel") { if (was.held) { parts = read(was.was); put(); show(); } return; }
  if (was.held && was.between && !was.moved) { chosen = was.held; add(midway(was.held)); } else if (was.held && !was.moved) { chosen = was.held; paint(); } else if (was.held) keep();
  else if (!was.moved) add(toPlace(was.from));
  if (was.held) { const now = sheet.querySelector(".corner.chosen"); if (now) now.focus({ preventScroll: true }); }
};
grid.addEventListener("pointerup", lifted);
grid.addEventListener("pointercancel", lifted);

// Keys: on the map they move the map, on a corner the corner.
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
grid.addEventListener("focusin", (event) => {
  const held = event.target.closest(".corner");
  if (held && held.getAttribute("aria-pressed") === "false") { chosen = held.dataset.at.split(" ").map(Number); if (!down.size) lookAtChosen(); paint(); }
});
grid.addEventListener("keydown", (event) => {
  const onCorner = event.target.closest(".corner"), by = ARROWS[event.key];
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") { if (event.shiftKey) redo(); else undo(); }
  else if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "y") redo();
  else if (event.ctrlKey || event.metaKey || event.altKey) return;
  else if (by && onCorner) moveCorner(...by, event.shiftKey ? 10 : 1);
  else if (by) pan(-by[0] * size[0] / 10, by[1] * size[1] / 10);
  else if (event.key === "Enter" && !onCorner) add(here());
  else if (event.key === "Delete" || event.key === "Backspace") takeOut();
  else if (event.key === "Insert") addMidway();
  else if (event.key === "+" || event.key === "=") zoom(1.5);
  else if (event.key === "-") zoom(1 / 1.5);
  else if (event.key === "Escape") grid.focus();
  else return;
  event.preventDefault();
  // The key was of a corner: its keys go on, also where it was taken out.
  if (onCorner && event.key !== "Escape") { const now = sheet.querySelector(".corner.chosen"); if (now) now.focus({ preventScroll: true }); else grid.focus(); }
});
for (const [id, does] of Object.entries({
  undo, redo, nearer: () => zoom(about.one ? 4 : 2), further: () => zoom(about.one ? 0.25 : 0.5), "take-out": takeOut, "corner-midway": addMidway,
  "corner-before": () => otherCorner(-1), "corner-after": () => otherCorner(1), "corner-at-cross": () => add(here()),
  whole: () => { const all = wholeOf(); if (about.one) wholeWorld(); else if (all.length) fit(all); paint(); }, "new-part": () => { newPart = true; chosen = null; paint(); },
})) byId(id)?.addEventListener("click", does);
for (const button of draw.querySelectorAll("[data-pad]")) button.addEventListener("click", () => {
  const [east, north] = button.dataset.pad.split(" ").map(Number);
  if (about.one || byId("pad-moves").value === "map") pan(-east * size[0] / 5, north * size[1] / 5); else moveCorner(east, north);
});

// The phone's position: shown, set as a corner, or walked around the field.
const noPosition = () => { says.textContent = words.no; };
// A position that is followed keeps the next one waiting until the phone moves: it is asked anew.
const paused = () => {
  const was = following !== null;
  if (was) stopFollowing();
  return () => { if (was && following === null && walking === null) follow(false); };
};
const position = (coords) => { sure = coords.accuracy; return { at: [coords.latitude, coords.longitude], within: coords.accuracy }; };
byId("corner-here").addEventListener("click", () => {
  if (!navigator.geolocation) { noPosition(); return; }
  const goOn = paused();
  navigator.geolocation.getCurrentPosition(({ coords }) => {
    const found = position(coords);
    if (about.one || (!count() && !around.length)) begin(found.at);
    add(found.at);
    goOn();
  }, () => { noPosition(); goOn(); }, { enableHighAccuracy: true, timeout: 20000 });
});
let following = null;
const stopFollowing = () => {
  navigator.geolocation.clearWatch(following);
  following = null;
  me = sure = null;
  byId("me").setAttribute("aria-pressed", "false");
  paint();
};
const follow = (centres) => {
  following = navigator.geolocation.watchPosition(({ coords }) => {
    const first = !me;
    me = position(coords);
    if (first && (centres || (!count() && !around.length && !about.place))) { if (count() || around.length) middle = toSquare(me.at); else begin(me.at); }
    paint();
  }, () => { if (centres) noPosition(); stopFollowing(); }, { enableHighAccuracy: true });
  byId("me").setAttribute("aria-pressed", "true");
};
byId("me")?.addEventListener("click", () => {
  if (!navigator.geolocation) noPosition();
  else if (following === null) follow(true);
  else stopFollowing();
});
// Shown by itself where the phone was let to tell it before: nobody is asked by surprise.
if (!about.one && navigator.permissions && navigator.geolocation) navigator.permissions.query({ name: "geolocation" }).then((may) => { if (may.state === "granted" && following === null) follow(false); }).catch(() => {});
// Walked or driven: each position that is sure enough and a few metres on; simplified when it is sent.
const MOST_OFF_M = 15, LEAST_ON_M = 3, walk = byId("walk");
let walking = null;
walk?.addEventListener("click", () => {
  if (walking !== null) {
    navigator.geolocation.clearWatch(walking);
    walking = null;
    keep();
  } else if (navigator.geolocation) {
    paused();
    parts = [];
    chosen = null;
    keep();
    walking = navigator.geolocation.watchPosition(({ coords }) => {
      const at = [coords.latitude, coords.longitude], last = chosen && corner(chosen), a = metresADegree(at[0]);
      me = position(coords);
      if (coords.accuracy <= MOST_OFF_M && !last) begin(at);
      const off = last ? Math.hypot((at[0] - last[0]) * a.north, (at[1] - last[1]) * a.east) : LEAST_ON_M;
      if (coords.accuracy <= MOST_OFF_M && off >= LEAST_ON_M) {
        add(at, false);
        put();
        const [x, y] = toPaper(at);
        if (x < HANDLE || y < HANDLE || x > size[0] - HANDLE || y > size[1] - HANDLE) fit(parts.flat());
        show();
      } else paint();
    }, noPosition, { enableHighAccuracy: true });
  } else { noPosition(); }
  walk.textContent = walking === null ? walk.dataset.begin : walk.dataset.end;
  walk.setAttribute("aria-pressed", String(walking !== null));
});

// A file, or a text that is pasted: the watch reads it; one shape becomes corners.
const taken = () => { parts = isTyped(text.value) ? read(text.value) : []; chosen = null; if (text.value !== kept) { past.push(kept); ahead = []; kept = text.value; } if (count()) lookAt(); show(); };
byId("file")?.addEventListener("change", (event) => {
  const [file] = event.target.files;
  if (!file) return;
  const reader = new FileReader();
  reader.addEventListener("load", () => { text.value = reader.result; taken(); });
  if (/\.(zip|kmz)$/i.test(file.name)) reader.readAsDataURL(file); else reader.readAsText(file);
});
// A place that is typed is looked at once it is there: half of one is no mistake.
text.addEventListener(about.one ? "change" : "input", taken);

// What it comes to, by the watch: one question under way, the newest shape next.
const EVERY_MS = 400;
let asking = false, asked = null, lookTimer = null;
const overlap = byId("overlap");
const lookSoon = () => { if (lookTimer === null) lookTimer = setTimeout(() => { lookTimer = null; look(); }, EVERY_MS); };
const item = (words) => { const li = document.createElement("li"); li.textContent = words; return li; };
const tell = (...lines) => {
  result.replaceChildren(...lines.filter(Boolean).map((one) => { const p = document.createElement("p"); p.textContent = one; return p; }));
};
const showOverlaps = (lines, mend) => {
  if (!overlap) return;
  overlap.hidden = !lines.length;
  if (!lines.length) overlap.querySelector("input").checked = false;
  byId("overlap-says").replaceChildren(...lines.map(item), ...(mend ? [item(mend)] : []));
};
const look = async () => {
  if (asking) return;
  const shape = text.value;
  if (shape === asked) return;
  if (about.one ? !shape.trim() : isTyped(shape) && (!parts.length || parts.some((part) => part.length < 3))) {
    asked = shape;
    wrongAt = null;
    tell(count() && !about.one ? words.few : "");
    showOverlaps([], "");
    return;
  }
  asking = true;
  try {
    const name = about.name || (byId("f-name") ? byId("f-name").value : "");
    const body = new URLSearchParams({ form_token: form.elements.form_token.value, corners: shape, name, role: about.role });
    const answer = await fetch(about.look, { method: "POST", body, headers: { Accept: "application/json" }, signal: AbortSignal.timeout(15000) });
    const found = answer.ok || answer.status === 422 ? await answer.json() : null;
    asked = shape;
    if (!found) { tell(words.unsaid); return; }
    wrongAt = found.at ? [found.at[1], found.at[0]] : null;
    tell(found.wrong || `${words.area} ${found.area}`, ...(found.near || []));
    showOverlaps(found.overlaps || [], found.mend);
    result.classList.toggle("is-wrong", Boolean(found.wrong));
    if (found.place && !count() && text.value === shape) { parts = [[found.place]]; chosen = [0, 0]; lookAt(); }
    if (found.corners && !isTyped(shape) && text.value === shape) {
      text.value = found.corners;
      if (found.name && byId("f-name") && !byId("f-name").value) byId("f-name").value = found.name;
      kept = text.value;
      asked = text.value;
      parts = read(text.value);
      chosen = null;
      fit(parts.flat());
    }
    paint();
  } catch { tell(words.unsaid); asked = shape; } finally { asking = false; if (text.value !== asked) lookSoon(); }
};

const measured = () => {
  const box = grid.getBoundingClientRect();
  size = [Math.max(box.width, 100), Math.max(box.height, 100)];
  grid.setAttribute("viewBox", `0 0 ${size[0]} ${size[1]}`);
};
measured();
const all = wholeOf();
if (about.one && !count() && !about.place) wholeWorld();
else if (about.one || !all.length) begin(count() ? corner([0, 0]) : about.place || [0, 0]);
else fit(all);
new ResizeObserver(() => { const before = size[0]; measured(); world *= size[0] / before; paint(); }).observe(grid);
paint();
lookSoon();
