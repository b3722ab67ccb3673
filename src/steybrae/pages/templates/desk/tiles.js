// Tiles of the map, a few at once: a browser has six connections to a server, and an answer must not wait for one.

/* global L */
const MOST_AT_ONCE = 3; // the server draws two

const waiting = [];
let loading = 0;

function go() {
  while (loading < MOST_AT_ONCE && waiting.length) {
    const { image, url } = waiting.shift();
    if (image.hasAttribute("src")) continue; // taken away before its turn: its picture is an empty one
    loading += 1;
    const ended = new AbortController();
    for (const what of ["load", "error"]) {
      image.addEventListener(what, () => { ended.abort(); loading -= 1; go(); }, { signal: ended.signal });
    }
    image.src = url;
  }
}

/** Whether tiles are still asked for, or wait for their turn. */
export const underWay = () => loading > 0 || waiting.length > 0;

export const Tiles = L.TileLayer.extend({
  createTile(coords, done) {
    const image = document.createElement("img");
    image.alt = "";
    image.addEventListener("load", () => done(null, image));
    image.addEventListener("error", () => done(new Error(`no tile ${coords}`), image));
    waiting.push({ image, url: this.getTileUrl(coords) });
    go();
    return image;
  },
});
