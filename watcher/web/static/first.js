"use strict";
// The first visit: corners tapped, walked or read from a file. What counts is the text in the form.
(() => {
  const METRES = 111195, SPANS = [100, 200, 500, 1000, 2000, 5000, 10000], SIZE = 400;
  const byId = (id) => document.getElementById(id);
  for (const part of document.querySelectorAll(".needs-script")) part.hidden = false;

  const whereAmI = (says, then) => {
    if (!navigator.geolocation) { says.textContent = says.dataset.no; return; }
    navigator.geolocation.getCurrentPosition((found) => {
      then(found.coords);
      says.textContent = `${says.dataset.within} ${Math.round(found.coords.accuracy)}`;
    }, () => { says.textContent = says.dataset.no; }, { enableHighAccuracy: true, timeout: 20000 });
  };
  const here = byId("here");
  if (here) here.addEventListener("click", () => whereAmI(byId("here-says"), (at) => {
    byId("f-place").value = `${at.latitude.toFixed(6)}, ${at.longitude.toFixed(6)}`;
  }));

  const draw = byId("draw");
  if (!draw) return;
  const grid = byId("grid"), text = byId("f-corners"), says = byId("draw-says");
  const place = draw.dataset.place.split(" ").map(Number);
  let middle = place.length === 2 && place.every(Number.isFinite) ? place : [0, 0];
  let span = 3, mark = [0, 0];
  const east = () => METRES * Math.cos(middle[0] * Math.PI / 180);
  const scale = () => SIZE / SPANS[span];
  const toPaper = ([lat, lon]) => [SIZE / 2 + (lon - middle[1]) * east() * scale(), SIZE / 2 - (lat - middle[0]) * METRES * scale()];
  const toPlace = ([x, y]) => [middle[0] - (y - SIZE / 2) / scale() / METRES, middle[1] + (x - SIZE / 2) / scale() / east()];

  const corners = () => text.value.split("\n").map((line) => line.split(/[,;\s]+/).map(Number))
    .filter((at) => at.length === 2 && at.every(Number.isFinite));
  const write = (all) => { text.value = all.map(([lat, lon]) => `${lat.toFixed(6)}, ${lon.toFixed(6)}`).join("\n"); show(); };
  const area = (all) => {
    const flat = all.map(([lat, lon]) => [(lon - middle[1]) * east(), (lat - middle[0]) * METRES]);
    return Math.abs(flat.reduce((sum, [x, y], i) => {
      const [u, v] = flat[(i + 1) % flat.length];
      return sum + x * v - u * y;
    }, 0)) / 2;
  };
  const part = (name, is) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(is)) made.setAttribute(key, value);
    grid.append(made);
    return made;
  };
  const line = (all) => all.map(toPaper).map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" ");
  const show = () => {
    grid.replaceChildren();
    const step = SIZE / 10;
    for (let i = 1; i < 10; i++) part("path", { class: "grid", d: `M${i * step} 0V${SIZE}M0 ${i * step}H${SIZE}` });
    for (const shape of JSON.parse(draw.dataset.drawn || "[]")) {
      const rings = shape.type === "Polygon" ? [shape.coordinates] : shape.coordinates;
      for (const one of rings) part("polygon", { class: "other", points: line(one[0].map(([lon, lat]) => [lat, lon])) });
    }
    const all = corners();
    if (all.length > 1) part("polygon", { class: "mine", points: line(all) });
    for (const at of all) { const [x, y] = toPaper(at); part("circle", { class: "arrow", cx: x, cy: y, r: 6 }); }
    const [mx, my] = [SIZE / 2 + mark[0], SIZE / 2 + mark[1]];
    part("path", { class: "ruler", d: `M${mx - 12} ${my}H${mx + 12}M${mx} ${my - 12}V${my + 12}` });
    part("text", { x: SIZE - 16, y: 20 }).textContent = "N";
    const hectares = all.length > 2 ? ` · ${says.dataset.area} ${(area(all) / 10000).toFixed(1)}` : "";
    says.textContent = `${says.dataset.corners} ${all.length}${hectares} · ${says.dataset.grid} ${SPANS[span] / 10}`;
  };
  const add = (at) => write([...corners(), at]);
  grid.addEventListener("click", (event) => {
    const box = grid.getBoundingClientRect();
    add(toPlace([(event.clientX - box.left) / box.width * SIZE, (event.clientY - box.top) / box.height * SIZE]));
  });
  grid.addEventListener("keydown", (event) => {
    const by = { ArrowLeft: [-10, 0], ArrowRight: [10, 0], ArrowUp: [0, -10], ArrowDown: [0, 10] }[event.key];
    if (by) mark = mark.map((n, i) => Math.max(-SIZE / 2, Math.min(SIZE / 2, n + by[i])));
    else if (event.key === "Enter") add(toPlace([SIZE / 2 + mark[0], SIZE / 2 + mark[1]]));
    else if (event.key === "Backspace") write(corners().slice(0, -1));
    else return;
    event.preventDefault();
    show();
  });
  byId("corner-back").addEventListener("click", () => write(corners().slice(0, -1)));
  const zoom = (by) => { span = Math.max(0, Math.min(SPANS.length - 1, span + by)); show(); };
  byId("nearer").addEventListener("click", () => zoom(-1));
  byId("further").addEventListener("click", () => zoom(1));
  byId("corner-here").addEventListener("click", () => whereAmI(says, (at) => {
    if (!corners().length) middle = [at.latitude, at.longitude];
    add([at.latitude, at.longitude]);
  }));
  // Walked or driven: each position that is sure enough and a few metres on; simplified when it is sent.
  const MOST_OFF_M = 15, LEAST_ON_M = 3;
  const walk = byId("walk");
  let walking = null;
  walk.addEventListener("click", () => {
    if (walking !== null) {
      navigator.geolocation.clearWatch(walking);
      walking = null;
    } else if (navigator.geolocation) {
      write([]);
      walking = navigator.geolocation.watchPosition(({ coords }) => {
        const all = corners(), last = all[all.length - 1], at = [coords.latitude, coords.longitude];
        if (!last) middle = at;
        const off = last ? Math.hypot((at[0] - last[0]) * METRES, (at[1] - last[1]) * east()) : LEAST_ON_M;
        if (coords.accuracy <= MOST_OFF_M && off >= LEAST_ON_M) add(at);
        says.textContent += ` · ${says.dataset.within} ${Math.round(coords.accuracy)}`;
      }, () => { says.textContent = says.dataset.no; }, { enableHighAccuracy: true });
    } else { says.textContent = says.dataset.no; }
    walk.textContent = walking === null ? walk.dataset.begin : walk.dataset.end;
    walk.setAttribute("aria-pressed", String(walking !== null));
  });
  byId("file").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    if (/\.(zip|kmz)$/i.test(file.name)) {
      const reader = new FileReader();
      reader.addEventListener("load", () => { text.value = reader.result; show(); });
      reader.readAsDataURL(file);
    } else { text.value = await file.text(); show(); }
  });
  text.addEventListener("input", show);
  const first = corners()[0];
  if (first && !draw.dataset.place) middle = first;
  show();
})();
