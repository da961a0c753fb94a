// A sheet of paper over the map for thousands of small marks: drawn at once, redrawn when the map comes to rest.
const L = window.L;

export const Sheet = L.Layer.extend({
  initialize(pane, paint) {
    this.paneName = pane;
    this.paint = paint;
  },
  onAdd(map) {
    if (!map.getPane(this.paneName)) map.createPane(this.paneName).classList.add("sheet-pane", this.paneName);
    this.paper = L.DomUtil.create("canvas", "sheet", map.getPane(this.paneName));
    this.paper.setAttribute("aria-hidden", "true");
    map.on("moveend zoomend resize viewreset", this.redraw, this);
    this.redraw();
  },
  onRemove(map) {
    map.off("moveend zoomend resize viewreset", this.redraw, this);
    this.paper.remove();
  },
  redraw() {
    const map = this._map;
    if (!map) return;
    const size = map.getSize(), pad = size.multiplyBy(0.25).round(), scale = Math.min(window.devicePixelRatio || 1, 2);
    const corner = map.containerPointToLayerPoint(pad.multiplyBy(-1)), whole = size.add(pad.multiplyBy(2));
    L.DomUtil.setPosition(this.paper, corner);
    this.paper.width = whole.x * scale;
    this.paper.height = whole.y * scale;
    this.paper.style.width = whole.x + "px";
    this.paper.style.height = whole.y + "px";
    const ctx = this.paper.getContext("2d");
    ctx.scale(scale, scale);
    // Web Mercator by hand: ten thousand points go through here, and the library's objects cost more than the drawing
    const world = 256 * 2 ** map.getZoom(), origin = map.getPixelOrigin();
    const project = (lon, lat) => {
      const sine = Math.sin((lat * Math.PI) / 180);
      return [(lon / 360 + 0.5) * world - origin.x - corner.x, (0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI)) * world - origin.y - corner.y];
    };
    this.paint(ctx, project, whole, map);
  },
});

export function pixelsPerMetre(map, lat) {
  return (256 * 2 ** map.getZoom()) / (40075016.686 * Math.cos((lat * Math.PI) / 180));
}
