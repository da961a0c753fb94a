// What lies under the runs: the reader's own drawing or picture from the river folder, and, only when this page was
// built for it and the reader asks, pictures from a public service. The choice is remembered where the browser keeps any.
const ONLINE_KEY = "plumbrun-background";

function drawUnder() {
  const under = data.map.under;
  riverMap.createPane("under").classList.add("under");
  if (!under) return;
  if (under.picture) {
    const drawn = document.querySelector(".sketch-under"), picture = drawn ? drawn.getAttribute("href") : under.picture;
    L.imageOverlay(picture, under.corners, { pane: "under", interactive: false, alt: "" }).addTo(riverMap);
    return;
  }
  const style = { pane: "under", color: "#8a6a4a", weight: 1.5, interactive: false };
  if (under.areas.length) L.polygon(under.areas, Object.assign({ fillColor: "#efe2cf", fillOpacity: 1 }, style)).addTo(riverMap);
  if (under.lines.length) L.polyline(under.lines, style).addTo(riverMap);
}

function recall(key) {
  try {
    return localStorage.getItem(key);
  } catch (error) {
    return null;
  }
}

function keep(key, value) {
  try {
    localStorage.setItem(key, value);
    return true;
  } catch (error) {
    return false;
  }
}

function startOnline() {
  const online = data.map.online, button = byId("online");
  if (!online || !button || !riverMap) return;
  const layer = L.tileLayer(online.url, { maxNativeZoom: online.zoom, maxZoom: 22 });
  const says = byId("online-says");
  const set = (on) => {
    if (on) layer.addTo(riverMap);
    else layer.remove();
    button.setAttribute("aria-pressed", String(on));
    say(says, on ? online.credit + "." : "");
  };
  layer.on("tileerror", () => say(says, "No signal for the background map. The rest works without it."));
  button.addEventListener("click", () => {
    const on = button.getAttribute("aria-pressed") !== "true";
    set(on);
    keep(ONLINE_KEY, on ? "on" : "off");
  });
  set(recall(ONLINE_KEY) === "on");
}
