// The response as a picture: gain over frequency, both logarithmic, before dashed and after solid.

import { el, svg } from "./dom.js";

const WIDTH = 720;
const HEIGHT = 280;
const LEFT = 52;
const LOW = 34;

export function response(before, after) {
  const curves = [
    ["before", before?.curves],
    ["after", after?.curves],
  ].flatMap(([side, found]) =>
    found ? found.of.map((one) => ({ ...one, side, hertz: found.hertz })) : [],
  );
  const gains = curves.flatMap((one) => one.gain).filter((gain) => gain > 0);
  if (!gains.length) return null;
  const top = Math.ceil(Math.log10(Math.max(...gains)));
  const bottom = Math.max(Math.floor(Math.log10(Math.min(...gains))), top - 4);
  const [first, last] = [Math.log10(curves[0].hertz[0]), Math.log10(curves[0].hertz.at(-1))];
  const x = (hertz) => LEFT + ((Math.log10(hertz) - first) / (last - first)) * (WIDTH - LEFT - 12);
  const y = (gain) => 12 + ((top - Math.log10(gain)) / (top - bottom)) * (HEIGHT - LOW - 12);
  const words = (hertz) => (hertz >= 1000 ? `${hertz / 1000} kHz` : `${hertz} Hz`);
  const grid = [];
  for (let power = Math.ceil(first); power <= last; power += 1) {
    grid.push(
      svg("path", { d: `M${x(10 ** power)},12V${HEIGHT - LOW}`, class: "grid" }),
      svg(
        "text",
        {
          x: x(10 ** power),
          y: HEIGHT - LOW + 16,
          "text-anchor": x(10 ** power) > WIDTH - 30 ? "end" : "middle",
        },
        words(10 ** power),
      ),
    );
  }
  for (let power = bottom; power <= top; power += 1) {
    grid.push(
      svg("path", { d: `M${LEFT},${y(10 ** power)}H${WIDTH - 12}`, class: "grid" }),
      svg(
        "text",
        { x: LEFT - 8, y: y(10 ** power) + 4, "text-anchor": "end" },
        String(Number((10 ** power).toPrecision(1))),
      ),
    );
  }
  const lines = curves.map((one) =>
    svg(
      "path",
      {
        class: `curve ${one.side}`,
        d: one.hertz
          .map((hertz, index) => [hertz, one.gain[index]])
          .filter(([, gain]) => gain >= 10 ** bottom)
          .map(
            ([hertz, gain], index) =>
              `${index ? "L" : "M"}${x(hertz).toFixed(1)},${y(gain).toFixed(1)}`,
          )
          .join(""),
      },
      svg("title", {}, `${one.side}: ${one.name}`),
    ),
  );
  return el(
    "figure",
    { class: "plot" },
    svg(
      "svg",
      {
        viewBox: `0 0 ${WIDTH} ${HEIGHT}`,
        role: "img",
        "aria-label": "Gain from input to load over frequency, one line for each stop of a control",
      },
      grid,
      lines,
    ),
    el(
      "figcaption",
      {},
      "Gain from input to load, a line for each stop of each control. Before dashed, after solid. The figures are in the tables.",
    ),
  );
}
